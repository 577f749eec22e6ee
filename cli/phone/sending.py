"""A photo out of a request: its body from the script, a field of a form without one."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.formparsers import MultiPartException, MultiPartParser
from starlette.requests import Request

from papernudge.cli.phone.gate import LONGEST_BODY


class _MemoryParser(MultiPartParser):
    """Photos stay in memory: nothing of them is spooled to a file."""

    spool_max_size = LONGEST_BODY + 1_000_000


@dataclass(frozen=True, slots=True)
class Sent:
    """``photo``: the bytes, empty where none came; ``after``: the photo (``id/step``) before."""

    photo: bytes
    after: str


async def sent(request: Request) -> Sent:
    """What the request brings. Raises TooMuchError as the gate's limits do."""
    if not request.headers.get("content-type", "").startswith("multipart/"):
        return Sent(await request.body(), request.query_params.get("after", ""))
    parser = _MemoryParser(request.headers, request.stream(), max_files=1, max_fields=4)
    try:
        form = await parser.parse()
    except (MultiPartException, KeyError):  # no boundary is told
        return Sent(b"", "")
    photo = form.get("photo")
    data = b"" if photo is None or isinstance(photo, str) else await photo.read()
    after = str(form.get("after", ""))
    await form.close()
    return Sent(data, after)
