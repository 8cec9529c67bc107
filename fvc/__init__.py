"""fvc: formula version control for makers of hair and skin products."""

__version__ = "0.1.0"
