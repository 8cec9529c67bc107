"""The command line: parse, call, show. One file a group of commands."""
