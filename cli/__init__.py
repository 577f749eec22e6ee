"""Words, pictures, files and exit codes. Nothing else prints, exits or asks."""

from __future__ import annotations


def main() -> None:
    """The command ``papernudge``."""
    import os
    import sys

    # The systems solved here are small: BLAS threads would wait for each other longer than they
    # work, tenfold on a busy machine. Must be said before numpy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from papernudge.cli.app import run

        code = run(sys.argv[1:])
    except KeyboardInterrupt:  # while starting up
        code = 130
    sys.exit(code)
