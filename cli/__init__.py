"""Words, pictures, files and exit codes. Nothing else prints, exits or asks."""

from __future__ import annotations


def main() -> None:
    """The command ``papernudge``."""
    import sys

    try:
        from papernudge.cli.app import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:  # while starting up
        code = 130
    sys.exit(code)
