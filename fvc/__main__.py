"""`python -m fvc` is the same as the console command `fvc`."""

import sys

from fvc.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
