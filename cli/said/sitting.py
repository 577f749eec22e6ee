"""What a sitting says in English: answers, doubts, questions."""

from __future__ import annotations

SAID = {
    "grid of": "Grid {number} of {many} on the page.",
    "legend": "{cell} is row {row}, column {column}.",
    "this grid is solved": "This grid is solved: all {count} digits are right.",
    "a hint would lead astray": "Something written here can't be right, so a hint would lead"
    " astray: papernudge check says how much, where and what, as far as you want to know.",
    "no step": "No step that this tool knows opens another cell here; nothing written is wrong.",
    "first, the page": "First, what does the page say? {questions}",
    "rests on none": "This rests on none of what can't be seen. {hidden}.",
    "printed or by hand?": "Is the {digit} in {cell} printed, or was it written by hand?",
    "no notes?": "Are there no small notes in {cell}?",
    "which notes?": "Are the small notes in {cell} {sets}?",
    "none of them": "none",
    "no digit at all": "no digit at all",
    "which block?": "Does {cell} belong to the block of {cells}?",
    "is it?": "Is the digit in {cell} {digit}?",
    "blank?": "Is {cell} blank?",
    "blank or?": "Is {cell} blank, or does it hold {digits}?",
    "holds or nothing?": "Does {cell} hold {digit}, or nothing?",
    "what does it hold?": "{hidden}. What does it hold?",
    "printed": "printed",
    "by hand": "by hand",
    "yes": "yes",
    "there are none": "there are none",
    "nothing": "nothing",
    "can't be seen": "{where} can't be seen",
    "can't be seen, covered.one": "{where} can't be seen: something covers it",
    "can't be seen, covered.other": "{where} can't be seen: something covers them",
    "can't be seen, washed out.one": "{where} can't be seen: light washes it out",
    "can't be seen, washed out.other": "{where} can't be seen: light washes them out",
    "can't be seen, too dark.one": "{where} can't be seen: it lies in the dark",
    "can't be seen, too dark.other": "{where} can't be seen: they lie in the dark",
    "can't be seen, cut off.one": "{where} can't be seen: the photo cuts it off",
    "can't be seen, cut off.other": "{where} can't be seen: the photo cuts them off",
    "from to": "{first} to {last}",
    "cells between": "{count} cells between {area}",
    "answer with": "Answer with --assume {answers}.",
    "for nothing": "{answer} for nothing",
    "for none": "{answer} for none",
    "whatever it holds": "whatever it holds",
    "say what it holds.one": "Say what it holds with --assume {first}=given:1, {first}=entry:1 or"
    " {first}=. for nothing, or take the photo again with the whole grid in clear view.",
    "say what it holds.other": "Say what each of them holds with --assume {first}=given:1,"
    " {first}=entry:1 or {first}=. for nothing, or take the photo again with the whole grid in"
    " clear view.",
    "regions": "{first}; {next}",
    # ------------------------------------------------------------ grids of a page
    "the photo": "the photo",
    "the earlier photo": "the earlier photo",
    "the photo itself": "the photo itself",
    "no grid of that number": "There is no grid {number} here: {found} found.",
    "grid asked for.one": "--grid {wanted} was asked for, but just 1 grid was found.",
    "grid asked for.other": "--grid {wanted} was asked for, but {count} grids were found.",
    "no grid of that board": "No grid of {side} rows and {side} columns was read in the photo:"
    " say which board is in it, or leave --blocks, --regions, --diagonals and --extra out.",
    "grid is of another board": "Grid {number} was not read with {side} rows and {side} columns:"
    " name another with --grid, or leave --blocks, --regions, --diagonals and --extra out.",
    "no grid in": "No grid was found in {called}: lay the page flat and fill the frame.",
    "grid can't be read": "The grid in {called} can't be read. {advice}",
    "grid can't be read, numbered": "Grid {number} in {called} can't be read. {advice}",
    "grid is cut off": "The grid in {called} is cut off: take it again with all four corners in"
    " view.",
    "grid is cut off, numbered": "Grid {number} in {called} is cut off: take it again with all four"
    " corners in view.",
    "grid can't be read well": "The grid in {called} can't be read well enough. {advice}",
    "grid can't be read well, numbered": "Grid {number} in {called} can't be read well enough."
    " {advice}",
    "closer and in better light": "Take it again, closer and in better light.",
    "grid is another": "The grid in {called} is not a sudoku that can be read: expected 4 to 16"
    " rows and as many columns, all in clear view.",
    "grid is another, numbered": "Grid {number} in {called} is not a sudoku that can be read:"
    " expected 4 to 16 rows and as many columns, all in clear view.",
    # ------------------------------------------------------------ what was said doesn't fit
    "an assumption looks like": "An assumption looks like R4C7=1, R4C7=given:1, R4C7=entry:1,"
    " R4C7=. (nothing there), R4C7=notes:14 or R4C7=block:R4C8 (in one block), with 2: in front for"
    " the second grid; {got} does not.",
    "beyond the board": "{got} is beyond this board: its rows, columns and digits go from 1 to"
    " {side}.",
    "no grid to assume of.one": "There is no grid {number} to assume something of: 1 grid found.",
    "no grid to assume of.other": "There is no grid {number} to assume something of: {count} grids"
    " found.",
    "unread grid to assume of": "Grid {number} could not be read, so nothing can be assumed of it.",
    "pixels come as": "Pixels come as uint8 (height, width, 3); got {dtype} {shape}.",
    "givens are": "The givens are {many} digits, and . for nothing; got {got}.",
    "entries are": "The entries are {many} digits, and . for nothing; got {got}.",
    "givens are, with letters": "The givens are {many} digits, A for 10, B for 11 and so on, and ."
    " for nothing; got {got}.",
    "entries are, with letters": "The entries are {many} digits, A for 10, B for 11 and so on, and"
    " . for nothing; got {got}.",
    "given and entry": "A cell with a given has no entry.",
    "a depth is": "A depth is a number from 1 to {most}; got {got}.",
    "earlier photo differs": "The earlier photo does not show the same printed digits: it must be"
    " one of this grid.",
    "say cell and digit": "Say in which cell, 0 to {last}, and which digit was written.",
    "that cell is printed": "That cell is printed: correct it with an answer.",
    "nothing to save": "This grid was not read: there is nothing of it to save.",
    "saved session is damaged": "This saved session is damaged: read the photo again.",
    "saved in another form": "This session was saved in form {form}, here form {here} is read: give"
    " the lines again.",
}
