"""What the server keeps of its visitors: photos and what was said of them, in memory only."""

from __future__ import annotations

import secrets
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from papernudge.cli.phone.work import Shown, Wish

FORGOTTEN = 3600.0
"""Seconds unused after which a photo is forgotten."""
LONGEST_CLOCK = 86_400.0
"""Seconds after which a clock that runs has been forgotten by its owner: a log takes no more."""
PHOTOS = 12
"""Photos that a visitor may have at once; the one not used for longest gives way."""
ALL_PHOTOS, BYTES = 90, 400_000_000
"""Photos of all visitors together, and their bytes: beyond, whoever has most gives up the one not
used for longest."""
SHOWN = 48
"""Answers that are kept drawn; others are drawn again when somebody goes back to them."""
CROPS = 400
"""Cells of photos that are kept cut out."""
STEPS = 400
"""Steps of one photo that can be gone back to."""


@dataclass(frozen=True, slots=True)
class Step:
    """One view of a photo; each action adds one, so that back goes back."""

    view: str = "hint"
    grid: int | None = None
    answers: tuple[str, ...] = ()
    depth: int = 1


@dataclass(eq=False)
class Snap:
    """A photo of a visitor with its steps. ``before``: see :class:`Wish`. ``took``: seconds on
    the clock when it came, None where no clock ran; ``kept``: whether they are in the log;
    ``failed``: whether nothing could be read on it.
    """

    photo: bytes
    before: tuple[str, str] | None
    used: float
    took: float | None = None
    kept: bool = False
    failed: bool = False
    steps: list[Step] = field(default_factory=lambda: [Step()])

    def wish(self, number: int) -> Wish:
        """What the workers are asked for a step."""
        from papernudge.cli.phone.work import Wish

        step = self.steps[number]
        return Wish(
            self.photo,
            step.view,
            step.grid,
            step.answers,
            step.depth,
            self.before,
            timed=self.took is not None,
        )

    def add(self, number: int, **change: object) -> int:
        """A step that differs from an earlier one; its number."""
        self.steps.append(replace(self.steps[number], **change))  # type: ignore[arg-type]
        return len(self.steps) - 1


class Memory:
    """Snaps by visitor and id, and drawn answers. ``now`` gives seconds; ``forgets`` is told of a
    photo that is no longer wanted anywhere.
    """

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self._now = now
        self.forgets: Callable[[bytes], None] = lambda _: None
        self._visitors: dict[str, OrderedDict[str, Snap]] = {}
        self._clocks: dict[str, float] = {}
        self._pupils: dict[str, tuple[float, str]] = {}
        self._shown: OrderedDict[tuple[str, str, int], Shown] = OrderedDict()
        self._crops: OrderedDict[tuple[str, str, int, int], bytes] = OrderedDict()
        self._sheets: OrderedDict[tuple[str, str], tuple[float, object]] = OrderedDict()
        self._languages: dict[str, str] = {}

    def visitor(self) -> str:
        """A new visitor's secret name."""
        name = secrets.token_urlsafe(24)
        self._visitors[name] = OrderedDict()
        return name

    def knows(self, name: str | None) -> bool:
        """Whether the cookie is one that was given out."""
        return name is not None and name in self._visitors

    def keep(self, visitor: str, photo: bytes, before: tuple[str, str] | None) -> str:
        """Keeps a photo and gives its id."""
        self.sweep()
        snaps = self._visitors[visitor]
        while len(snaps) >= PHOTOS:
            self.forget(visitor, next(iter(snaps)))
        while self._full(len(photo)) and (most := self._who_has_most()) is not None:
            self.forget(most, next(iter(self._visitors[most])))
        name = secrets.token_urlsafe(9)
        snaps[name] = Snap(photo, before, self._now())
        return name

    def _full(self, more: int) -> bool:
        count = sum(map(len, self._visitors.values()))
        return count >= ALL_PHOTOS or self.weight + more > BYTES

    def _who_has_most(self) -> str | None:
        """By number, then by bytes; None where nobody has any."""

        def held(visitor: str) -> tuple[int, int]:
            snaps = self._visitors[visitor].values()
            return len(snaps), sum(len(snap.photo) for snap in snaps)

        most = max(self._visitors, key=held, default=None)
        return most if most is not None and self._visitors[most] else None

    def start_clock(self, visitor: str) -> None:
        """The visitor's pencil starts."""
        self._clocks[visitor] = self._now()

    def clock(self, visitor: str) -> float | None:
        """Seconds since then, None where no clock runs; after a day it has been forgotten."""
        took = self._now() - self._clocks.get(visitor, -LONGEST_CLOCK)
        return None if took >= LONGEST_CLOCK else took

    def stop_clock(self, visitor: str) -> float | None:
        """The same, and the clock is stopped."""
        took = self.clock(visitor)
        self._clocks.pop(visitor, None)
        return took

    def name_pupil(self, visitor: str, pupil: str) -> None:
        """Whose sheets the visitor snaps from now on; empty for nobody's."""
        self._pupils[visitor] = (self._now(), pupil)

    def pupil(self, visitor: str) -> str:
        """Whose sheets the visitor snaps; forgotten as a photo is, so that nobody is taken for who
        was there the day before.
        """
        used, pupil = self._pupils.get(visitor, (0.0, ""))
        if used < self._now() - FORGOTTEN:
            return ""
        self._pupils[visitor] = (self._now(), pupil)
        return pupil

    def choose_language(self, visitor: str, language: str) -> None:
        """What the visitor is told from now on is told in this language."""
        self._languages[visitor] = language
        for key in [key for key in self._shown if key[0] == visitor]:
            del self._shown[key]

    def language(self, visitor: str | None) -> str | None:
        """The language that the visitor chose, None where none was chosen."""
        return None if visitor is None else self._languages.get(visitor)

    @property
    def weight(self) -> int:
        """Bytes of all photos."""
        return sum(len(s.photo) for snaps in self._visitors.values() for s in snaps.values())

    def find(self, visitor: str, name: str) -> Snap | None:
        """The visitor's photo, None if there is none of that id (any more). Counts as using it."""
        snap = self.peek(visitor, name)
        if snap is not None:
            snap.used = self._now()
            self._visitors[visitor].move_to_end(name)
        return snap

    def peek(self, visitor: str, name: str) -> Snap | None:
        """The same, but it is not used by that."""
        self.sweep()
        return self._visitors.get(visitor, OrderedDict()).get(name)

    def photos(self, visitor: str) -> list[str]:
        """Ids of the visitor's photos, the last used first."""
        self.sweep()
        return list(reversed(self._visitors.get(visitor, OrderedDict())))

    def forget(self, visitor: str, name: str) -> None:
        """Forgets a photo and all that was drawn of it here, now."""
        self._visitors.get(visitor, OrderedDict()).pop(name, None)
        for key in [key for key in self._shown if key[:2] == (visitor, name)]:
            del self._shown[key]
        for cell in [cell for cell in self._crops if cell[:2] == (visitor, name)]:
            del self._crops[cell]

    def sweep(self) -> None:
        """Forgets what was not used for an hour."""
        old = self._now() - FORGOTTEN
        for key in [key for key, (used, _) in self._sheets.items() if used < old]:
            del self._sheets[key]
        for visitor, snaps in self._visitors.items():
            for name in [name for name, snap in snaps.items() if snap.used < old]:
                self.forget_for_good(visitor, name)

    def forget_for_good(self, visitor: str, name: str) -> None:
        """Forgets a photo, with whoever else has it."""
        snap = self._visitors.get(visitor, OrderedDict()).get(name)
        self.forget(visitor, name)
        if snap is not None:
            self.forgets(snap.photo)

    def drawn(self, key: tuple[str, str, int]) -> Shown | None:
        """What was shown at a step, if it is still kept."""
        return self._shown.get(key)

    def draw(self, key: tuple[str, str, int], shown: Shown) -> None:
        """Keeps what is shown at a step."""
        self._shown[key] = shown
        self._shown.move_to_end(key)
        while len(self._shown) > SHOWN:
            self._shown.popitem(last=False)

    def crop(self, key: tuple[str, str, int, int]) -> bytes | None:
        """A cell of a photo at a step, if it is still kept; the last number is the cell."""
        return self._crops.get(key)

    def cut(self, key: tuple[str, str, int, int], crop: bytes) -> None:
        """Keeps a cell of a photo."""
        self._crops[key] = crop
        while len(self._crops) > CROPS:
            self._crops.popitem(last=False)

    def keep_sheet(self, visitor: str, shown: object) -> str:
        """Keeps a marked sheet and gives its id; the oldest gives way."""
        name = secrets.token_urlsafe(9)
        self._sheets[visitor, name] = (self._now(), shown)
        while len(self._sheets) > SHOWN:
            self._sheets.popitem(last=False)
        return name

    def sheet(self, visitor: str, name: str) -> object | None:
        """The visitor's marked sheet, None if there is none of that id (any more)."""
        self.sweep()
        return self._sheets.get((visitor, name), (0.0, None))[1]
