"""Published figures, each with its source and date. Values only: nothing in here computes or decides."""
