"""What books say in English: runs of digitise, exports, corrections, the review sheet, progress."""

from __future__ import annotations

SAID = {
    # ------------------------------------------------------------ a book's file
    "the book": "the book",
    "the book itself": "the book itself",
    "no book": "There is no book {path}: papernudge digitise makes one.",
    "book can't be opened": "{path} can't be opened ({why}): choose a book in a folder that exists"
    " and may be read and written.",
    "disk is full": "The disk that holds {path} is full; every page before stands: make room and"
    " run again.",
    "book is in use": "{path} is in use by another program: close it there first.",
    "book can't be used": "{path} can't be used as a book ({why}): expected a book that digitise"
    " wrote; name another file or take a copy from a backup.",
    "too many copies": "ten thousand damaged copies lie there already",
    "not a book": "{path} is not a book: expected a file that digitise wrote; name another one.",
    "newer book": "{path} was written by a newer papernudge (book version {version}; this one knows"
    " {known}): install the newer one. Nothing was changed.",
    "no book's tables": "{path} is damaged: it does not hold a book's tables; take a copy from a"
    " backup, or digitise its sources into a new book.",
    "stands in the way": "{path} stands where {called} {name} would keep its own, and is none of"
    " it: move it away or choose another name.",
    "being written": "{book} is being written by another run: wait until it has ended, then run"
    " again.",
    "being written by": "{book} is being written by another run (process {holder}): wait until it"
    " has ended, then run again.",
    "lock not ours": "{lock} is none of ours, but {book} needs a lock of that name: move it away or"
    " choose another name for the book.",
    "no book can be written": "No book can be written in {folder} ({why}): choose a folder that"
    " exists and may be written to.",
    # ------------------------------------------------------------ a cluster
    "cluster looks like": "--cluster ADDRESS looks like tcp://host:8786; got {got}: name a Dask"
    " scheduler.",
    "cluster needs the extra": "--cluster needs the extra: pip install 'papernudge[cluster]', here"
    " and on the workers.",
    "cluster needs certificates": "--cluster tls://... needs certificates: name them in Dask's"
    " configuration (distributed.comm.tls), or use tcp://.",
    "no worker": "The Dask scheduler at {address} has no worker: start one there and run again.",
    "no scheduler": "No Dask scheduler answers at {address}: expected one there, such as"
    " tcp://host:8786; start it and run again.",
    "scheduler went away": "The Dask scheduler at {address} went away half-way: the pages that came"
    " back are in the book; run again to go on.",
    "last worker went away": "The last worker of the Dask scheduler at {address} went away"
    " half-way: the pages that came back are in the book; run again to go on.",
    # ------------------------------------------------------------ pages that can't be read
    "page not read by cluster": "{called}, page {page}: the cluster could not read it ({fault});"
    " run again to try it once more.",
    "page not what was sent": "{called}, page {page}: the cluster sent something else; run again to"
    " try it once more.",
    "page broke its reader": "{called}, page {page}: what reads it broke down on it; run again to"
    " try it once more.",
    "page's reader failed": "{called}, page {page}: its reader failed ({fault}); run again to try"
    " it once more.",
    "page's reader ended": "{called}, page {page}: its reader ended {tries} times without an"
    " answer; run again to try it once more.",
    "page not loaded": "{called}, page {page}: {why}; run again to try it once more.",
    "page takes too long": "{called}, page {page}, takes more than {opening:g} s of work to open or"
    " {reading:g} s to read: expected a page as a camera or a scanner makes it.",
    "page takes too much memory": "{called}, page {page}: it needs more memory than there is, or"
    " than the {memory} MB that a page may take; scan it with fewer pixels.",
    "page of a file": "{called}, page {page},",
    "page is damaged in the book": "Page {page} of {called} is damaged in the book: name its file"
    " to digitise, and it is read again.",
    # ------------------------------------------------------------ corrections
    "it is not text": "it is not text",
    "corrections can't be read": "{path} can't be read ({why}): name the text file that holds the"
    " corrections.",
    "in a line": "{path}, line {line}: {said}",
    "a label is": "a label is up to {most} characters that can be printed; got {got}.",
    "a correction looks like": "A correction looks like 3f2a9c1b7d204e55-12-3 R4C7=given:7, or ends"
    " in ok, left out or label TEXT; {got} does not.",
    "a correction names a digit": "{got} names a grid or notes: a correction names a digit.",
    "no such row": "{book} holds no grid {row} that was read: take the names from its export or its"
    " review sheet.",
    # ------------------------------------------------------------ digitise
    "name a source": "Name at least one SOURCE: a folder, a photo, a PDF or a TIFF.",
    "review ends in html": "--review OUT ends in .html; got {got}.",
    "source has no name": "A SOURCE has no name: name a folder, a photo, a PDF or a TIFF.",
    "book was damaged": "{path} was damaged: it goes on with what can be trusted; the file as it"
    " was found lies beside it as {kept}.",
    "last run was cut short": "The last run on {path} was cut short: whole pages stand, the others"
    " are read anew; corrections that it was given are worth giving again.",
    "holds nothing to read": "{source} holds nothing to read: expected photos, PDFs or TIFFs in"
    " it.",
    "file changed": "{called} changed while it was being read and is left for the next run: run"
    " again once the file is at rest.",
    "page changed": "Page {page} of {called} changed while it was being read and is left for the"
    " next run: run again once the file is at rest.",
    "pages so far": "{done} of {total} pages, {puzzles} puzzles, {doubts} doubts",
    "pages so far, left": "{done} of {total} pages, {left} left, {puzzles} puzzles, {doubts}"
    " doubts",
    "pages at first": "{done} of {total} pages",
    "files looked through": "{count} files looked through",
    "seconds": "{seconds:.0f} s",
    "minutes": "{minutes} min",
    "hours and minutes": "{hours} h {minutes:02d} min",
    # ------------------------------------------------------------ what a book holds
    "book holds": "{path}: {pages}, {puzzles} ({distinct} distinct), {review} to review, {left_out}"
    " left out.",
    "so many pages.one": "{count} page",
    "so many pages.other": "{count} pages",
    "clean puzzles.one": "{count} clean puzzle",
    "clean puzzles.other": "{count} clean puzzles",
    "this run read.one": "This run read {count} page; {before} were done before.",
    "this run read.other": "This run read {count} pages; {before} were done before.",
    "pages mended.one": "{count} page of it had been damaged in the book.",
    "pages mended.other": "{count} pages of it had been damaged in the book.",
    "corrections changed.one": "Corrections changed {count} puzzle.",
    "corrections changed.other": "Corrections changed {count} puzzles.",
    "pages without a grid.one": "{count} page without a grid: {where}.",
    "pages without a grid.other": "{count} pages without a grid: {where}.",
    "a person must look": "A person must look at these:",
    "a person must look, drawn": "A person must look at these (--review SHEET.html draws them):",
    "left out": "Left out:",
    "so many left out": "  {count} {reason}: {where}.",
    "older pages.one": "{count} page read by another version: --again reads them anew.",
    "older pages.other": "{count} pages read by another version: --again reads them anew.",
    "more not read": "{count} more could not be read: --json names them all.",
    "book was not made": "{path} was not made: nothing that was named could be read.",
    "row, why": "{source}, page {page}, grid {grid}: {reason}",
    "row of a book": "{source}, page {page}, grid {grid}",
    "row by name, why": "{id}  {source}, page {page}, grid {grid}: {reason}",
    "page of a source": "{source}, page {page}",
    "grids of a page.one": "{page}, grid {numbers}",
    "grids of a page.other": "{page}, grids {numbers}",
    "things, more": "{first}; {next}",
    "things, end": "{first}; and {count} more",
    "one of them": "  {said}",
    "so many more": "  and {count} more",
    "reason, by hand": "by hand",
    "reason, a printed solution": "a printed solution",
    "reason, doubts": "doubts",
    "reason, no solution": "no solution",
    "reason, several solutions": "several solutions",
    "reason, not sure enough": "not sure enough",
    "reason, full": "full",
    "reason, cut off": "cut off",
    "reason, too poor": "too poor",
    "reason, other": "other",
    "reason, dark": "dark",
    "reason, blurred": "blurred",
    "reason, small": "small",
    "reason, many": "many",
    "reason, noisy": "noisy",
    "reason, compressed": "compressed",
    "reason, shadow": "shadow",
    "reason, crossed": "crossed",
    "reason, covered": "covered",
    "reason, washed out": "washed out",
    "reason, too dark": "too dark",
    "reason, unclear": "unclear",
    # ------------------------------------------------------------ a damaged book
    "lost, page": "page {page} of {called}",
    "lost, words": "what was said of page {page} of {called}",
    "lost, rows": "rows that nothing is known of",
    "lost, log": "what the last run did last",
    "words are damaged": "What was said of page {page} of {called} is damaged in {book}: look at"
    " that page and say it again.",
    "rows are missing": "Rows are missing in {book} and nothing tells which: name all its sources"
    " to digitise, and what is gone is read again.",
    "book's log is damaged": "The log beside {book} is damaged, so what the last run did last is"
    " gone: run digitise with the same words again.",
    "book is damaged in": "{path} is damaged in {lost}, and what can't be trusted is left out: run"
    " digitise with its files to read them again.",
    "book is damaged in many": "{path} is damaged in {lost} and {count} more, and what can't be"
    " trusted is left out: run digitise with its files to read them again.",
    "book is damaged, all whole": "{path} is damaged, but nothing that it holds is lost: the next"
    " run of digitise mends it.",
    "book is older": "{path} is of an older kind that can't tell when it is damaged: the next run"
    " of digitise brings it up to date.",
    "book is not finished.one": "{path} is not finished: {count} page of {pages} not read yet.",
    "book is not finished.other": "{path} is not finished: {count} pages of {pages} not read yet.",
    "book was cut short": "The last run on {path} was cut short: what it said or read last may be"
    " missing until it is run again.",
    # ------------------------------------------------------------ export
    "range looks like": "{option} looks like 8-12, 8- or -12; got {got}.",
    "export ends in": "--to OUT ends in {endings}; got {got}.",
    "status is": "--status is one of {statuses}; got {got}.",
    "no puzzle fits": "No puzzle fits.",
    "nothing to print": "No puzzle fits these filters, so there is nothing to print.",
    "exported.one": "{path}: {count} puzzle.",
    "exported.other": "{path}: {count} puzzles.",
    "reasons near": "{option} takes the name of a reason, the nearest are: {names}; got {got}.",
    "reasons there are": "{option} takes the name of a reason, there are: {names}; got {got}.",
    "hardest takes": "--hardest takes the name of a reason; got {got}.",
    "book by reasons": "By its hardest reason, the book holds: {held}.",
    "book without grades": "By its hardest reason, the book holds: no graded puzzle.",
    "puzzles by reason": "{count} {reason} ({low}-{high} min)",
    "puzzles by reason, no minutes": "{count} {reason}",
    # ------------------------------------------------------------ printed puzzles
    "about so long.one": "about a minute",
    "about so long.other": "about {count} minutes",
    "solution": "solution",
    "looks and reason": "{looks} looks, {reason}",
    # ------------------------------------------------------------ the review sheet
    "review, title": "To review",
    "review, head": "{count} to review",
    "review, intro": "Choose what the paper says. The lines below are the corrections: save them as"
    " a text file and run {command}. What you chose stays when you open this page again.",
    "review, nothing": "Nothing is waiting for a person.",
    "review, corrections": "Corrections",
    "review, undo": "Undo",
    "review, save": "Save corrections.txt",
    "review, as printed": "all is read as it is printed",
    "review, left out": "leave it out",
    "review, nothing there": "nothing",
    "review, printed": "{digit} printed",
    "review, written": "{digit} written",
    "review, label": "label",
    "review, other": "other",
    "review, called": "{name} {start}",
    "review, its corrections": "{name} corrections",
    "review, expected": "Expected {wanted}.",
    "review, a digit": "a digit, given:7, entry:7, or . for nothing",
    "review, cells": "as R4C7=given:7 R5C5=.",
    "review, a label": "up to 200 characters",
}
