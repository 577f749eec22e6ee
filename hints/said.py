"""What the room says in English, by code. Each is a whole sentence, or what stands in a list or a
place of one; those that hang on a number end in its plural category.
"""

from __future__ import annotations

SAID = {
    # ------------------------------------------------------------ numbers, lists, paragraphs
    "decimal mark": ".",
    "thousands mark": ",",
    "sentences": "{first} {next}",
    "listed": "{first}, {next}",
    "all, two": "{first} and {last}",
    "all, more": "{first}, {next}",
    "all, end": "{first} and {last}",
    "either, two": "{first} or {last}",
    "either, more": "{first}, {next}",
    "either, end": "{first} or {last}",
    # ------------------------------------------------------------ cells, houses, digits, techniques
    "cell": "R{row}C{column}",
    "house, row": "row {number}",
    "house, column": "column {number}",
    "house, block": "block {number}",
    "house, block of any form": "the block from {cell}",
    "house, diagonal 1": "the diagonal from the top left",
    "house, diagonal 2": "the diagonal from the top right",
    "house, extra block": "the extra block from {cell}",
    "houses, row": "rows {numbers}",
    "houses, column": "columns {numbers}",
    "houses, block": "blocks {numbers}",
    "houses, diagonal": "both diagonals",
    "digit in": "{digit} in {cell}",
    "a digit": "a {digit}",
    "a digit, 8": "an {digit}",
    "a digit, 11": "an {digit}",
    "technique, last blank of a house": "last blank of a house",
    "technique, several cells of a house": "several cells of a house",
    "technique, hidden single": "hidden single",
    "technique, naked single": "naked single",
    "technique, locked candidates": "locked candidates",
    "technique, naked pair": "naked pair",
    "technique, naked triple": "naked triple",
    "technique, naked quad": "naked quad",
    "technique, hidden pair": "hidden pair",
    "technique, hidden triple": "hidden triple",
    "technique, hidden quad": "hidden quad",
    "technique, X-wing": "X-wing",
    "technique, swordfish": "swordfish",
    "technique, jellyfish": "jellyfish",
    "technique, finned X-wing": "finned X-wing",
    "technique, finned swordfish": "finned swordfish",
    "technique, finned jellyfish": "finned jellyfish",
    "technique, XY-wing": "XY-wing",
    "technique, XYZ-wing": "XYZ-wing",
    "technique, W-wing": "W-wing",
    "technique, remote pairs": "remote pairs",
    "technique, colouring": "colouring",
    "technique, alternating chain": "alternating chain",
    "technique, skyscraper": "skyscraper",
    "technique, two-string kite": "two-string kite",
    "technique, turbot fish": "turbot fish",
    "technique, empty rectangle": "empty rectangle",
    "technique, almost-locked sets": "almost-locked sets",
    "technique, unique rectangle": "unique rectangle",
    "technique, leftovers": "leftovers",
    "technique, net": "net",
    "technique, last blank of a house, in a house": "last blank",
    "technique, several cells of a house, in a house": "several cells",
    "a technique": "a {technique}",
    "a technique, last blank of a house": "a last blank of a house",
    "a technique, several cells of a house": "a several cells of a house",
    "a technique, hidden single": "a hidden single",
    "a technique, naked single": "a naked single",
    "a technique, naked pair": "a naked pair",
    "a technique, naked triple": "a naked triple",
    "a technique, naked quad": "a naked quad",
    "a technique, hidden pair": "a hidden pair",
    "a technique, hidden triple": "a hidden triple",
    "a technique, hidden quad": "a hidden quad",
    "a technique, swordfish": "a swordfish",
    "a technique, jellyfish": "a jellyfish",
    "a technique, finned X-wing": "a finned X-wing",
    "a technique, finned swordfish": "a finned swordfish",
    "a technique, finned jellyfish": "a finned jellyfish",
    "a technique, W-wing": "a W-wing",
    "a technique, skyscraper": "a skyscraper",
    "a technique, two-string kite": "a two-string kite",
    "a technique, turbot fish": "a turbot fish",
    "a technique, net": "a net",
    "a technique, locked candidates": "locked candidates",
    "a technique, leftovers": "leftovers of blocks and lines",
    "a technique, almost-locked sets": "two almost-locked sets",
    "a technique, remote pairs": "remote pairs",
    "a technique, empty rectangle": "an empty rectangle",
    "a technique, colouring": "two colours of one digit",
    "a technique, alternating chain": "an alternating chain",
    "a technique, X-wing": "an X-wing",
    "a technique, XY-wing": "an XY-wing",
    "a technique, XYZ-wing": "an XYZ-wing",
    "a technique, unique rectangle": "a rectangle that would leave two solutions",
    "practised": "{name}",
    "practised in a row": "{name} in a row",
    "practised in a column": "{name} in a column",
    "practised in a line": "{name} in a line",
    "practised in a block": "{name} in a block",
    "practised, blanks": "{name} with {blanks} blanks",
    "practised in a row, blanks": "{name} in a row with {blanks} blanks",
    "practised in a column, blanks": "{name} in a column with {blanks} blanks",
    "practised in a line, blanks": "{name} in a line with {blanks} blanks",
    "practised in a block, blanks": "{name} in a block with {blanks} blanks",
    # ------------------------------------------------------------ where to look, what to ask
    "follow digit": "Follow the {digit}s.",
    "look at": "Look at {houses}.",
    "ask of a digit, hidden single": "In which house is just one place left for {a_digit}?",
    "ask of a digit": "What do the last places for the {digit} say about each other? Look for"
    " {technique}: that opens a single.",
    "ask of a house, last blank of a house": "One blank is left in {house}: which digit is"
    " missing?",
    "ask of a house, hidden single": "Which digit has just one place left in {house}?",
    "ask of a house, naked single": "Which blank of {house} can take one digit only?",
    "ask of a house, several cells of a house": "Which digits are missing in {house}, and which of"
    " them has one place only? The rest follows.",
    "ask of a house, net": "Try the candidates of {house} one by one: which of them leads to a"
    " contradiction?",
    "ask of a house": "Look for {technique} at {house}: that opens a single.",
    "write": "Write {places}.",
    "follow.one": "{cells} follows.",
    "follow.other": "{cells} follow.",
    # ------------------------------------------------------------ why a digit can be written
    "your notes": "your notes in {cells}",
    "opens, last blank of a house": "All other cells of {houses} are filled.",
    "opens, last blank of a house, then": "Then all other cells of {houses} are filled.",
    "opens, naked single": "A blank of {houses} has one digit left.",
    "opens, naked single, then": "Then a blank of {houses} has one digit left.",
    "opens, naked single, with": "With {evidence}, a blank of {houses} has one digit left.",
    "opens, naked single, then with": "Then, with {evidence}, a blank of {houses} has one digit"
    " left.",
    "opens, several cells of a house": "The missing digits of {houses} fall into place one after"
    " the other.",
    "opens, several cells of a house, then": "Then the missing digits of {houses} fall into"
    " place one after the other.",
    "opens, several cells of a house, with": "With {evidence}, the missing digits of {houses}"
    " fall into place one after the other.",
    "opens, several cells of a house, then with": "Then, with {evidence}, the missing digits of"
    " {houses} fall into place one after the other.",
    "one place left": "{digit} has one place left in {houses}.",
    "one place left, then": "Then {digit} has one place left in {houses}.",
    "one place, seen.one": "The {digit} at {cells} leaves one place in {houses}.",
    "one place, seen.other": "The {digit}s at {cells} leave one place in {houses}.",
    "one place, seen and noted.one": "The {digit} at {cells} and your notes in {noted} leave one"
    " place in {houses}.",
    "one place, seen and noted.other": "The {digit}s at {cells} and your notes in {noted} leave"
    " one place in {houses}.",
    "one place, noted": "Your notes in {noted} leave one place for {digit} in {houses}.",
    "one place, seen, then.one": "Then the {digit} at {cells} leaves one place in {houses}.",
    "one place, seen, then.other": "Then the {digit}s at {cells} leave one place in {houses}.",
    "one place, seen and noted, then.one": "Then the {digit} at {cells} and your notes in"
    " {noted} leave one place in {houses}.",
    "one place, seen and noted, then.other": "Then the {digit}s at {cells} and your notes in"
    " {noted} leave one place in {houses}.",
    "one place, noted, then": "Then your notes in {noted} leave one place for {digit} in {houses}.",
    # ------------------------------------------------------------ why digits are ruled out
    "why, locked candidates": "In {base}, {digits} can go only in {cover}, at {locked}, so"
    " {claims}.",
    "why, naked": "In {base}, {set} take only {digits_or}, so {claims}.",
    "why, hidden": "In {base}, {digits} can go only in {set}, so {claims}.",
    "why, fish": "{technique:capital}: in {base}, {digits} can go only in {cover}, so it goes"
    " nowhere else there: {claims}.",
    "why, finned": "{technique:capital}: in {base}, {digits} can go only in {cover} or, a fin,"
    " in {fin}. Where the fin is seen too, it is out either way: {claims}.",
    "why, XY-wing": "XY-wing: {pivot} takes only {others}, and either way one of {pincer} is"
    " {struck}, so {claims}.",
    "why, XYZ-wing": "XYZ-wing: {pivot} takes only {digits_or}, and whichever it is, it or one"
    " of {pincer} is {struck}, so {claims}.",
    "why, W-wing": "W-wing: {pincer} take only {digits_or}. The {others} of {base}, at {bridge},"
    " is in sight of one of them, which is then {struck}, so {claims}.",
    "why, remote pairs": "Remote pairs: {path} take only {digits_or}, and each sees the next, so"
    " {end} differ, and {claims}.",
    "why, colouring": "Two colours: {digits} has two places each in {base}, so {one_colour} hold"
    " it or {other_colour} do. What sees both colours is out: {claims}.",
    "why, one colour": "Two colours: {digits} has two places each in {base}, so {one_colour}"
    " hold it or {other_colour} do. Two of the first see each other: {claims}.",
    "why, chain": "{technique:capital}: {chain}. Either way, {claims}.",
    "why, almost-locked sets": "Two almost-locked sets: {shared} can't be in {one_set} and in"
    " {other_set} at once, so one of the sets keeps all its other digits, and {struck} is at"
    " {holders}: {claims}.",
    "why, unique rectangle": "A rectangle that would leave two solutions: with no more than"
    " {digits_or} at {corner}, the two could change places, but for the puzzle having just one"
    " solution: {claims}.",
    "why, leftovers": "In {base}, {digits} can go only in {cover}, which are as many, so it goes"
    " nowhere else there: {claims}.",
    "why, net": "With {evidence}, try {digits} at {assumed}: what it forces can't be, so {claims}.",
    "why by notes, locked candidates": "By your notes in {noted}: in {base}, {digits} can go"
    " only in {cover}, at {locked}, so {claims}.",
    "why by notes, naked": "By your notes in {noted}: in {base}, {set} take only {digits_or}, so"
    " {claims}.",
    "why by notes, hidden": "By your notes in {noted}: in {base}, {digits} can go only in {set},"
    " so {claims}.",
    "why by notes, fish": "By your notes in {noted}: {technique}: in {base}, {digits} can go"
    " only in {cover}, so it goes nowhere else there: {claims}.",
    "why by notes, finned": "By your notes in {noted}: {technique}: in {base}, {digits} can go"
    " only in {cover} or, a fin, in {fin}. Where the fin is seen too, it is out either way:"
    " {claims}.",
    "why by notes, XY-wing": "By your notes in {noted}: XY-wing: {pivot} takes only {others},"
    " and either way one of {pincer} is {struck}, so {claims}.",
    "why by notes, XYZ-wing": "By your notes in {noted}: XYZ-wing: {pivot} takes only"
    " {digits_or}, and whichever it is, it or one of {pincer} is {struck}, so {claims}.",
    "why by notes, W-wing": "By your notes in {noted}: W-wing: {pincer} take only {digits_or}."
    " The {others} of {base}, at {bridge}, is in sight of one of them, which is then {struck}, so"
    " {claims}.",
    "why by notes, remote pairs": "By your notes in {noted}: remote pairs: {path} take only"
    " {digits_or}, and each sees the next, so {end} differ, and {claims}.",
    "why by notes, colouring": "By your notes in {noted}: two colours: {digits} has two places"
    " each in {base}, so {one_colour} hold it or {other_colour} do. What sees both colours is"
    " out: {claims}.",
    "why by notes, one colour": "By your notes in {noted}: two colours: {digits} has two places"
    " each in {base}, so {one_colour} hold it or {other_colour} do. Two of the first see each"
    " other: {claims}.",
    "why by notes, chain": "By your notes in {noted}: {technique}: {chain}. Either way, {claims}.",
    "why by notes, almost-locked sets": "By your notes in {noted}: two almost-locked sets:"
    " {shared} can't be in {one_set} and in {other_set} at once, so one of the sets keeps all its"
    " other digits, and {struck} is at {holders}: {claims}.",
    "why by notes, unique rectangle": "By your notes in {noted}: a rectangle that would leave"
    " two solutions: with no more than {digits_or} at {corner}, the two could change places, but"
    " for the puzzle having just one solution: {claims}.",
    "why by notes, leftovers": "By your notes in {noted}: in {base}, {digits} can go only in"
    " {cover}, which are as many, so it goes nowhere else there: {claims}.",
    "why by notes, net": "By your notes in {noted}: with {evidence}, try {digits} at {assumed}:"
    " what it forces can't be, so {claims}.",
    "claim.one": "{cells} isn't {digits}",
    "claim.other": "{cells} aren't {digits}",
    "claims": "{first}; {next}",
    "links": "{first}, {next}",
    "chain starts": "if {cell} isn't {digit}, it is {other}",
    "chain starts, in a house": "if {cell} isn't {digit}, the {digit} of {house} is at {places}",
    "chain starts, from a group": "if {digit} isn't at {cell}, that of {house} is at {places}",
    "chain goes on": "so {cell} isn't {digit} but {other}",
    "chain goes on, in a house": "so {cell} isn't {digit}, and the {digit} of {house} is at"
    " {places}",
    "chain goes on, from a group": "so {digit} isn't at {cell}, and that of {house} is at {places}",
    # ------------------------------------------------------------ check
    "solved": "Solved: all {count} digits are right.",
    "right so far": "Right so far: you've filled {done} of {blanks} and nothing is wrong.",
    "new are right.one": "The digit written since the earlier photo is right.",
    "new are right.other": "The {count} digits written since the earlier photo are right.",
    "wrong.one": "One digit you wrote can't be right.",
    "wrong.other": "{count} of the digits you wrote can't be right.",
    "wrong, stood.one": "One digit you wrote can't be right: it stood in the earlier photo"
    " already.",
    "wrong, stood.other": "{count} of the digits you wrote can't be right: they all stood in the"
    " earlier photo already.",
    "wrong, new.one": "One digit you wrote can't be right: the one written since the earlier"
    " photo.",
    "wrong, new.other": "{count} of the digits you wrote can't be right, all of them written since"
    " the earlier photo.",
    "wrong, some new.one": "One digit you wrote can't be right: one of the {new} written since the"
    " earlier photo.",
    "wrong, some new.other": "{count} of the digits you wrote can't be right, {wrong} of them"
    " written since the earlier photo.",
    "look again": "Look again at {houses}.",
    "repeats": "The {digit} in {cell} repeats the {digit} in {others}.",
    "repeats, neither": "The {digit} in {cell} repeats the {digit} in {others}, and neither can"
    " stay.",
    "the digit in": "the {digit} in {cell}",
    "lone.one": "{those:capital} repeats no other digit, yet it can't stay.",
    "lone.other": "{those:capital} repeat no other digit, yet they can't stay.",
    "many repeat.one": "{cells} repeats a digit of the same row, column or block.",
    "many repeat.other": "{cells} each repeat a digit of the same row, column or block.",
    "many repeat, other houses.one": "{cells} repeats a digit of a house that it lies in.",
    "many repeat, other houses.other": "{cells} each repeat a digit of a house that they lie in.",
    "apart.two": "Neither follows from the other.",
    "apart.more": "None of them follows from another.",
    "came first, either, rest.one": "{cells} came first: either explains the other.",
    "came first, either, rest.other": "{cells} came first: either explains all the others.",
    "came first, either, some.one": "{cells} came first: either explains one other.",
    "came first, either, some.other": "{cells} came first: either explains {count} others.",
    "came first, each, rest.one": "{cells} came first: each of them explains the other.",
    "came first, each, rest.other": "{cells} came first: each of them explains all the others.",
    "came first, each, some.one": "{cells} came first: each of them explains one other.",
    "came first, each, some.other": "{cells} came first: each of them explains {count} others.",
    "rub out, rest.one": "Rub out {cell} first: the other one follows from it.",
    "rub out, rest.other": "Rub out {cell} first: the other {count} follow from it.",
    "rub out, some.one": "Rub out {cell} first: one more follows from it.",
    "rub out, some.other": "Rub out {cell} first: {count} more follow from it.",
    "others came first": "Of the others, {cells} came first.",
    "new came first": "Of those written since the earlier photo, {cell} came first.",
    "right would be": "Right would be {right}.",
    "lost notes": "The small notes in {cells} have lost the right digit.",
    "missing notes": "Missing from them: {missing}.",
    "notes in": "{digits} in {cell}",
    "stale notes.one": "Among the small notes, {notes} stands in sight already.",
    "stale notes.other": "Among the small notes, {notes} stand in sight already.",
    "can't be told, two clash": "Right and wrong can't be told here: two printed digits in one"
    " house are the same.",
    "can't be told, clash": "Right and wrong can't be told here: {count} printed digits repeat one"
    " another in their houses.",
    "can't be told, several": "Right and wrong can't be told here: the printed digits allow more"
    " than one solution.",
    "can't be told, none": "Right and wrong can't be told here: the printed digits allow no"
    " solution.",
    "one given": "If one of them were another digit, the puzzle would have one solution.",
    "suspect": "If the {digit} in {cell} were another digit, the puzzle would have one solution.",
    "mends": "With {digits} in {cell} the puzzle has one solution.",
    "clash.two": "The {digit}s in {cells} can't both stand.",
    "clash.more": "The {digit}s in {cells} can't all stand.",
    "compare": "Compare the printed digits with the page; if they match, it is a misprint.",
    # ------------------------------------------------------------ words for boards
    "blocks or regions": "Say which cells make a block by --blocks or by --regions, not by both.",
    "blocks look like": "--blocks is rows x columns of a block, such as 2x3 or 4x4, at least 2 of"
    " each and {most} cells at most; got {got}.",
    "regions are as long as": "--regions is a letter for each cell, row by row: {lengths} of"
    " them; got {got}.",
    "regions hold letters": "--regions holds a letter for each cell, the same for all cells of a"
    " block; it can't hold {got}.",
    "regions are as many as": "--regions of {side} rows names {side} blocks, each by a letter; this"
    " one names {got}.",
    "region of another size": "Block {letter} of --regions has {got} cells: expected {side}, one"
    " for each digit.",
    "region in pieces": "Block {letter} of --regions lies in {pieces} pieces: expected cells that"
    " touch along their sides.",
    "extra is as long as": "--extra holds {length} characters, row by row, a letter for each cell"
    " of an extra block and . for all others; this one has {got}.",
    "extra holds letters": "--extra holds letters, and . for cells of no extra block; it can't hold"
    " {got}.",
    "extra names none": "--extra names no extra block: write a letter in the {side} cells of each.",
    "extra block of another size": "Extra block {letter} has {got} cells: expected {side}, one for"
    " each digit.",
    # ------------------------------------------------------------ walks and routes
    "ask by digit": "Now ask by digit.",
    "ask by cell": "Now ask by cell.",
    "step": "{number}. {said}",
    "earlier steps count": "Digits of earlier steps count here.",
    "looks.one": "({count} look, {total} so far)",
    "looks.other": "({count} looks, {total} so far)",
    "looks, follows.one": "({count} look, {total} so far; follows on from {cells})",
    "looks, follows.other": "({count} looks, {total} so far; follows on from {cells})",
    "no further": "From there no step that this tool knows opens another cell.",
    "way.one": "{count} look, {travel:.0f} cells from look to look",
    "way.other": "{count} looks, {travel:.0f} cells from look to look",
    "stop": "{said}.",
    "in comparison, reading order": "In comparison, reading order: {way}.",
    "in comparison, digit by digit": "In comparison, digit by digit: {way}.",
}
"""Every sentence, or part of a list in one, by its code."""
