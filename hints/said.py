"""Sentences in English by code: of ``check``, of walks and of a sitting. Each is whole; those that
hang on a number end in what the language's :func:`plural` says of it.
"""

from __future__ import annotations


def plural(count: int) -> str:
    """Which form a number takes in English."""
    return "one" if count == 1 else "many"


_WRONG = "{count} of the digits you wrote can't be right"

SAID = {
    # ------------------------------------------------------------ check
    "solved": "Solved: all 81 digits are right.",
    "right so far": "Right so far: you've filled {done} of {blanks} and nothing is wrong.",
    "new are right.one": "The digit written since the earlier photo is right.",
    "new are right.many": "The {count} digits written since the earlier photo are right.",
    "wrong.one": "One digit you wrote can't be right.",
    "wrong.many": f"{_WRONG}.",
    "wrong, stood.one": "One digit you wrote can't be right: it stood in the earlier photo"
    " already.",
    "wrong, stood.many": f"{_WRONG}: they all stood in the earlier photo already.",
    "wrong, new.one": "One digit you wrote can't be right: the one written since the earlier"
    " photo.",
    "wrong, new.many": f"{_WRONG}, all of them written since the earlier photo.",
    "wrong, some new.one": "One digit you wrote can't be right: one of the {new} written since the"
    " earlier photo.",
    "wrong, some new.many": f"{_WRONG}, {{wrong}} of them written since the earlier photo.",
    "look again": "Look again at {houses}.",
    "repeats": "The {digit} in {cell} repeats the {digit} in {others}.",
    "repeats, neither": "The {digit} in {cell} repeats the {digit} in {others}, and neither can"
    " stay.",
    "the digit in": "the {digit} in {cell}",
    "lone.one": "{those} repeats no other digit, yet it can't stay.",
    "lone.many": "{those} repeat no other digit, yet they can't stay.",
    "many repeat.one": "{cells} repeats a digit of the same row, column or block.",
    "many repeat.many": "{cells} each repeat a digit of the same row, column or block.",
    "apart.two": "Neither follows from the other.",
    "apart.more": "None of them follows from another.",
    "came first, either, rest.one": "{cells} came first: either explains the other.",
    "came first, either, rest.many": "{cells} came first: either explains all the others.",
    "came first, either, some.one": "{cells} came first: either explains one other.",
    "came first, either, some.many": "{cells} came first: either explains {count} others.",
    "came first, each, rest.one": "{cells} came first: each of them explains the other.",
    "came first, each, rest.many": "{cells} came first: each of them explains all the others.",
    "came first, each, some.one": "{cells} came first: each of them explains one other.",
    "came first, each, some.many": "{cells} came first: each of them explains {count} others.",
    "rub out, rest.one": "Rub out {cell} first: the other one follows from it.",
    "rub out, rest.many": "Rub out {cell} first: the other {count} follow from it.",
    "rub out, some.one": "Rub out {cell} first: one more follows from it.",
    "rub out, some.many": "Rub out {cell} first: {count} more follow from it.",
    "others came first": "Of the others, {cells} came first.",
    "new came first": "Of those written since the earlier photo, {cell} came first.",
    "right would be": "Right would be {right}.",
    "lost notes": "The small notes in {cells} have lost the right digit.",
    "missing notes": "Missing from them: {missing}.",
    "notes in": "{digits} in {cell}",
    "stale notes.one": "Among the small notes, {notes} stands in sight already.",
    "stale notes.many": "Among the small notes, {notes} stand in sight already.",
    "can't be told, two clash": "Right and wrong can't be told here: two printed digits in one"
    " house are the same.",
    "can't be told, clash": "Right and wrong can't be told here: {count} printed digits repeat one"
    " another in their houses.",
    "can't be told, several": "Right and wrong can't be told here: the printed digits allow more"
    " than one solution.",
    "can't be told, none": "Right and wrong can't be told here: the printed digits allow no"
    " solution.",
    "one given": "If one of them were another digit, the puzzle would have one solution.",
    "look at": "Look at {houses}.",
    "suspect": "If the {digit} in {cell} were another digit, the puzzle would have one solution.",
    "mends": "With {digits} in {cell} the puzzle has one solution.",
    "clash.two": "The {digit}s in {cells} can't both stand.",
    "clash.more": "The {digit}s in {cells} can't all stand.",
    "compare": "Compare the printed digits with the page; if they match, it is a misprint.",
    # ------------------------------------------------------------ walks and routes
    "ask by digit": "Now ask by digit.",
    "ask by cell": "Now ask by cell.",
    "step": "{number}. {said}",
    "earlier steps count": "Digits of earlier steps count here.",
    "looks.one": "({count} look, {total} so far)",
    "looks.many": "({count} looks, {total} so far)",
    "looks, follows.one": "({count} look, {total} so far; follows on from {cells})",
    "looks, follows.many": "({count} looks, {total} so far; follows on from {cells})",
    "no further": "From there no step that this tool knows opens another cell.",
    "way.one": "{count} look, {travel} cells from look to look",
    "way.many": "{count} looks, {travel} cells from look to look",
    "stop": "{said}.",
    "in comparison, reading order": "In comparison, reading order: {way}.",
    "in comparison, digit by digit": "In comparison, digit by digit: {way}.",
    # ------------------------------------------------------------ a sitting
    "grid of": "Grid {number} of {many} on the page.",
    "this grid is solved": "This grid is solved: all 81 digits are right.",
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
    "can't be seen, covered.many": "{where} can't be seen: something covers them",
    "can't be seen, washed out.one": "{where} can't be seen: light washes it out",
    "can't be seen, washed out.many": "{where} can't be seen: light washes them out",
    "can't be seen, too dark.one": "{where} can't be seen: it lies in the dark",
    "can't be seen, too dark.many": "{where} can't be seen: they lie in the dark",
    "can't be seen, cut off.one": "{where} can't be seen: the photo cuts it off",
    "can't be seen, cut off.many": "{where} can't be seen: the photo cuts them off",
    "from to": "{first} to {last}",
    "cells between": "{count} cells between {area}",
    "answer with": "Answer with --assume {answers}.",
    "for nothing": "{answer} for nothing",
    "for none": "{answer} for none",
    "whatever it holds": "whatever it holds",
    "say what it holds.one": "Say what it holds with --assume {first}=given:1, {first}=entry:1 or"
    " {first}=. for nothing, or take the photo again with the whole grid in clear view.",
    "say what it holds.many": "Say what each of them holds with --assume {first}=given:1,"
    " {first}=entry:1 or {first}=. for nothing, or take the photo again with the whole grid in"
    " clear view.",
}
"""Every sentence, or part of a list in one, by its code."""
