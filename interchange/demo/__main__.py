"""`python -m interchange.demo FOLDER PLUGINS_FOLDER` writes the demo archive and the plugins' samples."""

from __future__ import annotations

import sys
from pathlib import Path

from interchange.demo import make, samples
from interchange.errors import EXIT_DONE, EXIT_USAGE


def main(arguments: list[str]) -> int:
    """Write both folders; the exit code."""
    if len(arguments) != 2:
        print("usage: python -m interchange.demo FOLDER PLUGINS_FOLDER", file=sys.stderr)
        return EXIT_USAGE
    make(Path(arguments[0]))
    samples(Path(arguments[1]))
    return EXIT_DONE


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
