"""`python -m fvc` is the same as the console command `fvc`."""

from fvc.cli.main import console

if __name__ == "__main__":
    console()
