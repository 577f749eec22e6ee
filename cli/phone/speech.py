"""What templates and the script of the page say, in the language that is spoken."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from jinja2 import Environment
from markupsafe import Markup, escape

from papernudge.cli.said import in_words, spoken
from papernudge.cli.session.naming import legend

_SCRIPT = {
    "sending": "page, sending",
    "reading": "page, reading",
    "ready": "page, ready",
    "none": "no photo came",
    "big": "over 40 MB",
    "busy": "too many wait",
    "lost": "page, not arrived",
    "away": "page, no answer",
    "time": "page, time",
}
"""What the script says, by the name that it has there."""


def teach(templates: Environment) -> None:
    """Gives templates their words: ``say``, ``listed``, ``time``, ``clock_runs``, ``script``,
    ``legend`` and ``language``.
    """
    templates.globals.update(
        say=say,
        listed=listed,
        time=time,
        clock_runs=clock_runs,
        script=script,
        legend=lambda said: legend(said, spoken()),
        language=lambda: spoken().language,
    )


def say(code: str, **data: Any) -> Markup:
    """The sentence of this code as HTML. Data that is no HTML yet becomes it; the sentences of the
    page themselves hold no mark of it.
    """
    numbers = (int, float)
    shown = {k: v if isinstance(v, numbers) else escape(v) for k, v in data.items()}
    return Markup(in_words(code, **shown))


def listed(parts: Iterable[str]) -> str:
    """The parts one after the other."""
    return spoken().chained("listed", list(parts))


def time(seconds: float) -> str:
    """A time in minutes and seconds."""
    minutes, rest = divmod(int(seconds), 60)
    return in_words("page, time", minutes=minutes, seconds=rest)


def clock_runs(seconds: int) -> Markup:
    """The same where the script lets it run on."""
    return Markup('<span data-clock="{}">{}</span>').format(seconds, time(seconds))


def script() -> str:
    """What the script says, as JSON; its numbers go where ``#``, ``#m`` and ``#s`` stand."""
    places = {"percent": "#", "minutes": "#m", "seconds": "#s"}
    return json.dumps({name: in_words(code, **places) for name, code in _SCRIPT.items()})
