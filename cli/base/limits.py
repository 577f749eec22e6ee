"""What a file from anywhere may take: named here, kept by :mod:`papernudge.cli.base.limited`, said
in the commands' help.
"""

from __future__ import annotations

SECONDS = 3.0
"""Processor time in which a photo is decoded, a page rendered or a file's pages counted."""
PAGE_SECONDS = 20.0
"""Processor time for all the work on one page of a book; the slowest honest one took a tenth."""
MEMORY = 640_000_000
"""Bytes that a child may take beyond what it has when it begins: a photo of 110 megapixels fits."""
WALL = 300.0
"""Seconds by the clock after which a child is ended anyway: it hangs. On a machine where eight
others wanted the same core, honest work of three seconds took over a hundred."""
MAX_PAGES = 5_000
"""Most pages of one PDF or TIFF."""

OF_A_FILE = f"A file is opened within {SECONDS:g} s of work and {MEMORY // 1_000_000} MB, or left."
OF_A_PAGE = (
    f"Limits: a file of {MAX_PAGES:,} pages; {SECONDS:g} s of work to open a page,"
    f" {PAGE_SECONDS:g} s to read it, {MEMORY // 1_000_000} MB for that. What goes beyond is told"
    " and left."
)
