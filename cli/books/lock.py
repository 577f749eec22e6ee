"""A book's lock: a file beside it that only the one run holds that may write the book.

The system lets go of it when the run ends, however it ends. The file says that it is ours; a file
or a link of somebody else that merely has its name is left as it is, and the book is not written.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
from pathlib import Path

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.paths import AT_ONCE, BOOK_FILES, open_regular, real
from papernudge.hints.catalogue import Message, message
from papernudge.vision.failure import said_by_system

MARK = b"papernudge lock, process "
"""How our locks begin; the number of the process follows."""
_TAKEN = (errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_WAL_VERSION = 3007000
_SIGNS: dict[str, tuple[tuple[int, bytes], ...]] = {
    "-wal": (
        (0, b"\x37\x7f\x06\x82"),
        (0, b"\x37\x7f\x06\x83"),
        (4, _WAL_VERSION.to_bytes(4, "big")),
    ),
    "-journal": ((0, b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7"), (0, bytes(8))),
    "-shm": (
        (0, _WAL_VERSION.to_bytes(4, sys.byteorder)),
        (48, _WAL_VERSION.to_bytes(4, sys.byteorder)),
        (0, bytes(4)),
    ),
}
"""By what SQLite's own files beside a database are known, each where it stands and one of them
enough, so that a damaged byte makes no stranger of a file (sqlite.org, "Database File Format", 3.1
and 4.1, "WAL-mode File Format", 2.1). A closed journal may begin with zeros."""


def _stop(sentence: Message, reason: str) -> Stop:
    return Stop(Exit.FILE, sentence, stage="book", reason=reason)


class Lock:
    """Taken before a book is opened to be written. A book behind a link is the same book."""

    def __init__(self, book: Path) -> None:
        whole = real(book)
        self.path = whole.parent / (whole.name + BOOK_FILES[0])
        self.handle = -1
        self._ours = False

    def take(self) -> None:
        """Stop (5) if another run holds it, the folder can't be written to, or a file that is no
        lock has its name.
        """
        while True:
            try:
                handle = self._opened()
            except OSError as error:
                raise unwritable(self.path, error) from error
            try:
                self._hold(handle)
            except BaseException:
                os.close(handle)
                raise
            if self._is_there(handle):
                break
            os.close(handle)  # the run before took its file away between our two steps
        self.handle = handle
        if self._ours:
            with contextlib.suppress(OSError):  # only a courtesy to whoever comes second
                os.lseek(handle, 0, os.SEEK_SET)
                os.write(handle, MARK + str(os.getpid()).encode() + b"\n")
                os.ftruncate(handle, os.lseek(handle, 0, os.SEEK_CUR))

    def _opened(self) -> int:
        """A new file of our own, or the one that is there, never through a link."""
        flags = os.O_RDWR | AT_ONCE | _NO_LINK
        while True:
            with contextlib.suppress(FileExistsError):
                handle = os.open(self.path, flags | os.O_CREAT | os.O_EXCL, 0o644)
                break
            with contextlib.suppress(FileNotFoundError):  # taken away between our two steps
                if not stat.S_ISREG(self.path.lstat().st_mode):
                    raise _not_ours(self.path)
                self._ours = False
                return os.open(self.path, flags)
        self._ours = True
        # At once: what is there without our mark is not taken for ours by anybody.
        with contextlib.suppress(OSError):
            os.write(handle, MARK)
        return handle

    def _hold(self, handle: int) -> None:
        """Stop (5) if somebody else holds it or it is no lock. An empty file may be held, but not
        be taken away: nobody can tell whose it is.
        """
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise _not_ours(self.path)
        told = _content(handle)
        if told and not told.startswith(MARK):
            raise _not_ours(self.path)
        try:
            _lock(handle)
        except OSError as error:
            if error.errno in _TAKEN:
                raise _busy(self.path, told) from error
            raise unwritable(self.path, error) from error
        # Whoever made it may have marked it only now.
        self._ours = self._ours or _content(handle).startswith(MARK)

    def _is_there(self, handle: int) -> bool:
        """Whether the file that is held still has the lock's name."""
        try:
            return os.path.samestat(os.fstat(handle), self.path.lstat())
        except OSError:
            return False

    def release(self) -> None:
        """Takes the file away first, so that nobody locks it between; only ours."""
        if self.handle >= 0:
            # Whoever made it, and came second to lock it, may have marked it only meanwhile.
            ours = self._ours or _content(self.handle).startswith(MARK)
            if ours and self._is_there(self.handle):
                with contextlib.suppress(OSError):
                    self.path.unlink()
            os.close(self.handle)
            self.handle = -1


def is_held(book: Path) -> bool:
    """Whether a run is writing the book now. Nothing is made or changed."""
    try:
        handle = os.open(Lock(book).path, os.O_RDONLY | AT_ONCE | _NO_LINK)
    except OSError:
        return False
    try:
        _lock(handle)
    except OSError as error:
        return error.errno in _TAKEN
    finally:
        os.close(handle)
    return False


def guard_beside(database: Path, called: Message) -> None:
    """Before SQLite opens a file to write: what stands beside it under the names that SQLite uses
    must be SQLite's, for it would be cut or deleted. Stop (5) otherwise.
    """
    whole = real(database)
    for ending, signs in _SIGNS.items():
        path = whole.parent / (whole.name + ending)
        if not os.path.lexists(path):
            continue
        alone = ending != "-shm" and not os.path.lexists(whole)
        if path.is_symlink() or not _is_sqlites(path, signs, alone):
            says = message("stands in the way", path=path, called=called, name=whole.name)
            raise _stop(says, "not ours")


def _is_sqlites(path: Path, signs: tuple[tuple[int, bytes], ...], alone: bool) -> bool:
    """Whether a file is SQLite's. ``alone``: where there is no database, what holds something is
    the rest of another one.
    """
    try:
        with open_regular(path) as file:
            head = file.read(64)
    except OSError:
        return False
    return not head or (any(head.startswith(sign, at) for at, sign in signs) and not alone)


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _content(handle: int) -> bytes:
    """The first bytes; on Windows a file that is held can't be read by others: as if ours."""
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        return os.read(handle, 60)
    except OSError:
        return MARK


def _busy(lock: Path, told: bytes) -> Stop:
    book = lock.name.removesuffix(BOOK_FILES[0])
    holder = told.removeprefix(MARK).strip().decode("ascii", "replace")
    code = "being written by" if holder.isdigit() else "being written"
    return _stop(message(code, book=book, holder=holder), "busy")


def _not_ours(lock: Path) -> Stop:
    book = lock.name.removesuffix(BOOK_FILES[0])
    return _stop(message("lock not ours", lock=lock, book=book), "not ours")


def unwritable(path: Path, error: OSError) -> Stop:
    """What to say where nothing can be written beside a book."""
    says = message("no book can be written", folder=path.parent, why=said_by_system(error))
    return _stop(says, "unwritable")
