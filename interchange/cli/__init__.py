"""Command line: parses arguments, calls one function of `operations`, prints its answer."""
