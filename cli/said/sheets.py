"""What practice sheets, their marks, their log and its plot say in English."""

from __future__ import annotations

SAID = {
    # ------------------------------------------------------------ on the sheet
    "sheet and date": "Sheet {sheet}     Date ..................",
    "as many as you can.one": "Write as many digits as you can in a minute.",
    "as many as you can.other": "Write as many digits as you can in {count} minutes.",
    "only sure ones": "Only those that you are sure of.",
    "write the next digit": "In each grid, write the digit that comes next, large, into the cell.",
    "write the next digits": "In each grid, write the digits that come next, large, into the cell.",
    "told on the last page": "What earns them is told on the last page.",
    "answers to": "Answers to sheet {sheet}",
    "an answer": "{digits}",
    "an answer, why": "{digits}: {why}",
    "or an answer": "or {digits}",
    "or an answer, why": "or {digits}: {why}",
    "so many looks.one": "{count} look",
    "so many looks.other": "{count} looks",
    "page of pages": "{page} / {total}",
    # ------------------------------------------------------------ marked
    "number and result": "{number}  {said}",
    "sheet's digits.one": "Sheet {sheet}: {count} digit right.",
    "sheet's digits.other": "Sheet {sheet}: {count} digits right.",
    "sheet's results": "Sheet {sheet}: {results}.",
    "numbers can't be read": "Number {numbers} can't be read here.",
    "and more": "{first} and {next}",
    "another sheet's code": "{called} shows another sheet's code ({sheet}): none of its positions"
    " is among the grids here; photograph the sheet that the code is printed on.",
    "another version's code": "{called}: the sheet's code was made by another version of papernudge"
    " drill, or is damaged: print the sheet anew, or photograph its other code.",
    "something else's code": "{called} shows a square code, but of something else than papernudge"
    " drill: get one of the sheet's own two into the photo, flat and sharp.",
    "no sheet code": "{called}: no sheet code of papernudge drill can be read here; get one of its"
    " two square codes into the photo, flat and sharp.",
    # ------------------------------------------------------------ the log
    "the log": "the log",
    "log can't be used": "{path} can't be used as a log ({why}): name a log that mark wrote, or a"
    " new file in a folder that may be written to.",
    "no log": "There is no log {path}: papernudge mark --log makes one.",
    "not a log": "{path} is not a log: expected a file that mark --log wrote; name another one.",
    "newer log": "{path} was written by a newer papernudge (log version {version}; this one knows"
    " {known}): install the newer one. Nothing was changed.",
    "a pupil's name": "A pupil's name is one line of 1 to {most} characters, none of them a control"
    " character; got {got}.",
    # ------------------------------------------------------------ its plot
    "nobody named": "(nobody named)",
    "practised, whole puzzle": "whole puzzle",
    "practised, scan": "scan",
    "plot": "Practice over weeks",
    "plot, right": "right, of those answered",
    "plot, seconds": "seconds a position",
    "plot, percent": "{number:g}%",
    "plot, number": "{number:g}",
    "plot, curve": "{letter}  {name}",
}
