"""Words, pictures, files and exit codes. Nothing else prints, exits or asks."""

from __future__ import annotations


def main() -> None:
    """The command ``papernudge``."""
    try:
        from papernudge.cli.base import stopping
    except KeyboardInterrupt:  # the very first moment
        raise SystemExit(130) from None
    try:
        stopping.listen()
        code = _run()
        stopping.deaf()
    except BaseException as end:
        # Nothing but a signal gets here, whatever an import that it struck has made of it.
        if stopping.code() is None and not isinstance(end, KeyboardInterrupt):
            raise
        code = 130
    stopping.leave(code)


def _run() -> int:
    import gc
    import os
    import sys

    # A run is short and what it imports stays: with the usual threshold a tenth of its time goes by
    # looking for circles among modules.
    gc.set_threshold(20_000, 20, 20)

    # The systems solved here are small: BLAS threads would wait for each other longer than they
    # work, tenfold on a busy machine. Must be said before numpy is first imported.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from papernudge.cli.app import run

    return run(sys.argv[1:])
