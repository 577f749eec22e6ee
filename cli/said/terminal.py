"""What the terminal says in English: words that are off, conversation, tables, boards."""

from __future__ import annotations

SAID = {
    # ------------------------------------------------------------ the command's words are off
    "json or json lines": "Choose --json or --json-lines, not both.",
    "picture ends in": "--picture OUT ends in {endings}; got {got}.",
    "route needs walk": "--route orders the whole solve: add --walk.",
    "route tells all": "--route shows where every digit goes: leave out --tell.",
    "since compares one": "--since compares one photo with an earlier one: name one PHOTO.",
    "since shows another": "{since} does not show the same printed digits: --since needs an earlier"
    " photo of this grid.",
    "standard input once": "Standard input can be read once: name - only once.",
    "picture draws one": "--picture draws one photo: name one PHOTO, or leave it out.",
    "entry line alone": "--entry-line says what was written in a puzzle: add its --given-line.",
    "name a photo": "Name a photo, or - for standard input, or give a --given-line.",
    "photo or line": "Name a photo or give a --given-line, not both.",
    "lines differ": "{cell} holds {given} in --given-line and {entry} in --entry-line: a cell with"
    " a given has no entry.",
    "line holds digits": "{option} holds digits, and . for nothing; it can't hold {got}.",
    "line holds": "{option} holds {many} characters, row by row; this one has {length}.",
    "line holds, would do": "{option} holds {many} characters, row by row; this one has {length},"
    " which would do with {blocks}.",
    "line holds symbols": "{option} holds 1 to {last} on this board, and . for nothing; it can't"
    " hold {got}.",
    "no folder for a picture": "There is no folder for a picture ({why}): name one with --picture"
    " OUT.",
    "name the book to write": "Name the book to write: --book FILE.",
    "workers or cluster": "Choose --workers or --cluster: a cluster brings its own workers.",
    "label from": "--label-from is file or page; got {got}.",
    "name the book to take from": "Name the book to take from: papernudge export FILE --to OUT.",
    "name the file to write": "Name the file to write: --to OUT.",
    "paper is": "--paper is a4 or letter; got {got}.",
    "name the sheet to write": "Name the sheet to write: --out SHEET.pdf.",
    "seconds are": "--seconds is what the page took, 0.1 to 86400.",
    "name the log to draw": "Name the log to draw: papernudge progress FILE.",
    "photo said": "{called}: {said}",
    # ------------------------------------------------------------ what read says
    "kind, puzzle": "A puzzle.",
    "kind, full": "A full grid.",
    "kind, cut off": "A grid cut off by the edge of the photo.",
    "kind, too poor": "A grid too poor to read.",
    "kind, other": "Something other than a sudoku of 4 to 16 rows.",
    "kind of many, puzzle": "Grid {number} of {many}: a puzzle.",
    "kind of many, full": "Grid {number} of {many}: a full grid.",
    "kind of many, cut off": "Grid {number} of {many}: a grid cut off by the edge of the photo.",
    "kind of many, too poor": "Grid {number} of {many}: a grid too poor to read.",
    "kind of many, other": "Grid {number} of {many}: something other than a sudoku of 4 to 16"
    " rows.",
    "read, puzzle": "A puzzle with {held}.",
    "read, full": "A full grid with {held}.",
    "read, cut off": "A grid cut off by the edge of the photo with {held}.",
    "read, too poor": "A grid too poor to read with {held}.",
    "read, other": "Something other than a sudoku of 4 to 16 rows with {held}.",
    "read of many, puzzle": "Grid {number} of {many}: a puzzle with {held}.",
    "read of many, full": "Grid {number} of {many}: a full grid with {held}.",
    "read of many, cut off": "Grid {number} of {many}: a grid cut off by the edge of the photo"
    " with {held}.",
    "read of many, too poor": "Grid {number} of {many}: a grid too poor to read with {held}.",
    "read of many, other": "Grid {number} of {many}: something other than a sudoku of 4 to 16"
    " rows with {held}.",
    "printed digits.one": "{count} printed digit",
    "printed digits.other": "{count} printed digits",
    "written ones.one": "{count} written one",
    "written ones.other": "{count} written ones",
    "noted cells.one": "small notes in {count} cell",
    "noted cells.other": "small notes in {count} cells",
    "in doubt": "In doubt: {question}",
    "decided by the rules": "Decided by the rules of the grid: {cells}.",
    "small notes": "Small notes: {cells}.",
    "notes of a cell": "{cell} {digits}",
    "struck out": "Struck out: {cells}.",
    "grid among others": "Grid {number}: {said}",
    "head, grid": "grid",
    "head, right": "right",
    "head, wrong": "wrong",
    "head, blank": "blank",
    "head, state": "state",
    "state, open": "open",
    "state, solved": "solved",
    "state, right so far": "right so far",
    "state, mistaken": "mistaken",
    "state, not one solution": "not one solution",
    "state, unsure": "unsure",
    "state, no step": "no step",
    # ------------------------------------------------------------ boards
    "sign, written": "' written by hand",
    "sign, in doubt": "? in doubt",
    "sign, can't stay": "! can't stay",
    "sign, to look at": "* to look at",
    "sign, to be written": "+ to be written",
    "sign, where to look": "{sign} where to look",
    "board has diagonals": "Both diagonals hold each digit once.",
    "board has an extra block": "An extra block holds each digit once: {cells}.",
    "row holds": "Row {row}: {cells}.",
    "a blank": "blank",
    "not seen": "not seen",
    "a printed digit": "{digit} printed",
    "a written digit": "{digit} written",
    # ------------------------------------------------------------ the conversation
    "leads astray": "Something written here can't be right, so a hint would lead astray.",
    "offer, check": "Enter: check",
    "offer, more": "Enter: more",
    "offer, done": "Enter: done",
    "offer, n": "n: I wrote it",
    "offer, u": "u: take back",
    "offer, p": "p: picture",
    "offer, c": "c: correct a cell",
    "offer, s": "s: stop",
    "prompt": "[{offers}]",
    "press enter": "Press Enter, or type {keys}.",
    "none of the answers": "That is none of the answers.",
    "a cell and what stands there": "[a cell and what stands there, as R4C7=1, or R4C7=. for"
    " nothing]",
    "the picture is": "The picture is {path}",
    "no viewer": "There is no viewer for pictures here: --picture OUT.png writes them to a file.",
    "type what you wrote": "Type what you wrote after the n, as in n R4C7=3.",
    "say in which cell": "Say in which cell, as in n R4C7=3.",
    "correct a printed one": "{cell} is printed: correct it with c.",
    "say which digit": "Say which digit, as in n R4C7=3.",
    "type, seen": "type the digit it holds, given:1 or entry:1, or . for nothing",
    "type, hand": "g: printed, e: by hand",
    "type, read": "Enter: {read}",
    "type, other notes": "or type them",
    "type, no notes": "or . for none",
    "type, digit": "Enter: {read}, or type the digit, or . for nothing",
    "none read": "none",
    "nothing read": "nothing",
    # ------------------------------------------------------------ drill
    "scan": "Scan",
    "practice": "Practice",
    "practice of": "Practice: {reasons}",
    "or else": "{first} or {next}",
    "out ends in pdf": "--out SHEET ends in .pdf; got {got}.",
    "the source itself": "SOURCE itself",
    "scan asks for any": "--scan asks for any digits: leave --reason out.",
    "sheet written.one": "{path}: 1 position, sheet {sheet}, answers on the last page.",
    "sheet written.other": "{path}: {count} positions, sheet {sheet}, answers on the last page.",
    "say what to practise": "Say what to practise, as --reason 'hidden single in a block'; or"
    " --scan 5.",
    "no such reason": "--reason: expected one of {names}, then if wanted 'in a block' (row, column,"
    " line) and 'with 3 blanks'; got {got}.",
    "another step is as easy": "{reason}: in {shared} of {found} positions another step is as easy,"
    " and counts as an answer too.",
    "no position asks for": "No position asks for {reasons} here: take more puzzles, or another"
    " reason.",
    "hardly ever first": "{reason} hardly ever comes first: in none of {tried} of our own puzzles"
    " was it among the easiest next steps, for others get there sooner. Name a SOURCE that holds"
    " such puzzles, or practise one that does: {others}.",
    "too few of our own": "{reason}: {found} of {wanted} positions found in our own puzzles; more"
    " puzzles hold more.",
    "too few positions": "{reason}: {found} of {wanted} positions found in {source}; more puzzles"
    " hold more.",
    "too few scans": "{found} of {wanted} positions found; more puzzles hold more.",
    "no puzzle with a blank": "No puzzle with a blank cell is here: name a SOURCE that holds some.",
    "looking at positions": "positions: puzzle {count}",
    "looking at positions, at most": "positions: puzzle {count} of at most {most}",
    "looking for": "{what}: puzzle {count}",
    "looking for, at most": "{what}: puzzle {count} of at most {most}",
    "none sound.one": "{source}: 1 puzzle, none with exactly one solution: look for a misread"
    " digit.",
    "none sound.other": "{source}: {count} puzzles, none with exactly one solution: look for a"
    " misread digit.",
    "some unsound.one": "{source}: 1 puzzle left out that has not one solution.",
    "some unsound.other": "{source}: {count} puzzles left out that have not one solution.",
    "neither book nor text": "{source} is neither a book nor text: expected a book that digitise"
    " wrote, or lines of 81 characters.",
    "line is short": "{source}, line {line}: expected {many} characters, 1 to {last} or . for"
    " nothing, got {length} characters: mend or take out that line.",
    "line is of another board": "{source}, line {line}: expected {many} characters, got {length},"
    " which would do with {blocks}: name the board, or mend or take out that line.",
    "line is odd": "{source}, line {line}: expected {many} characters, 1 to {last} or . for"
    " nothing, got {got}: mend or take out that line.",
    "other boards left out": "{source} also holds puzzles of other boards, which were left out:"
    " --blocks or --regions asks for theirs.",
    "no grid of this board": "No filled grid of this board was found: try other --regions, or leave"
    " out --diagonals or --extra.",
    "sheet without a code": "A sheet of another board than the usual 9×9 has no code: mark can't"
    " mark it.",
    "lines can't be read": "{source} can't be read ({why}): name a book or a file of 81-character"
    " lines.",
    # ------------------------------------------------------------ mark
    "day looks like": "--day looks like 2026-05-01; {got} does not.",
    "name a sheet's photo": "Name a photo of a practice sheet, or - for standard input.",
    "about one page": "--seconds and --assume are about one page: name one PHOTO.",
    "name the position first": "--assume on a sheet names the position's number first, as"
    " 3:R4C7=1.",
    "position can't be read": "Number {number} can't be read: take its grid whole and sharp into"
    " the photo.",
    "which of these": "Number {number}, {cell}: is it {read}, or {others}? Say it with --assume"
    " {answer}",
    "a sheet's title": "{called}: sheet {sheet}",
    "digits right": "{count} digits right",
    "right and wrong": "{right} right, {wrong} wrong",
    "so many": "{count} {result}",
    "result, right": "right",
    "result, wrong": "wrong",
    "result, blank": "blank",
    "result, also valid": "also valid",
    "result, unsure": "unsure",
    # ------------------------------------------------------------ progress
    "no sheet of nobody": "This log holds no sheet of {pupil}: it names nobody; without --pupil it"
    " tells all.",
    "no sheet of": "This log holds no sheet of {pupil}: it names {names}; without --pupil it tells"
    " all.",
    "no sheet of, more": "This log holds no sheet of {pupil}: it names {names} and {more} more;"
    " without --pupil it tells all.",
    "picture ends in svg or png": "--picture OUT ends in .svg or .png; got {got}.",
    "the log itself": "the log itself",
    "rows damaged.one": "1 row is damaged in {log} and left out: expected what mark writes; take a"
    " copy from a backup, or mark those sheets again.",
    "rows damaged.other": "{count} rows are damaged in {log} and left out: expected what mark"
    " writes; take a copy from a backup, or mark those sheets again.",
    "nothing in the log": "Nothing is in this log yet.",
    "head, pupil": "pupil",
    "head, reason": "reason",
    "head, week of": "week of",
    "head, positions": "positions",
    "head, also valid": "also valid",
    "head, share": "share",
    "head, looks": "looks",
    "head, seconds": "seconds",
    "looks of a week": "{looks:.1f}",
}
