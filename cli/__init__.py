"""Words, pictures, files and exit codes. Nothing else prints, exits or asks."""

from __future__ import annotations


def main() -> None:
    """The command ``papernudge``."""
    import sys

    from papernudge.cli.app import run

    sys.exit(run(sys.argv[1:]))
