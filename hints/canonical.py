"""One name for a puzzle however it is turned, mirrored, shuffled or relabelled.

On a board of even blocks, with nothing beside them, the rules are kept by exchanging bands, stacks,
rows inside a band, columns inside a stack and digits, and where blocks are square by transposing
(on the newspaper's grid together 9! × 2 × 6⁸). On any other board those of the eight ways to turn
and mirror it are taken that bring its houses onto its houses, and digits. ``canonical`` picks one
picture out of all that they make of a puzzle, the same one wherever it starts.

The method for even blocks is canonical labelling by colour refinement, as in B. D. McKay,
"Practical graph isomorphism" (Congressus Numerantium 30, 1981): rows, columns, bands, stacks, both
directions and digits are nodes, each given ties its row, column and digit. Nodes that look
different get different colours, round by round; where equals remain, each is singled out in turn,
only the branches that look least are followed, and the least picture at their ends is the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from operator import itemgetter

from papernudge.hints.layout import DIAGONAL, EXTRA, NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, VALUES

Colours = list[int]
Look = tuple[object, ...]
"""How a coloured puzzle looks to somebody who can't tell nodes of a colour apart."""
Tie = tuple[int, int, int]


def canonical(line: str, layout: Layout = NEWSPAPER) -> str:
    """The form that this puzzle shares with all its symmetric pictures on its board and with no
    other.

    ``line``: a character for each cell, ``.`` or ``0`` for nothing; whether it has one solution
    does not matter. The result: such a line, ``.`` for nothing, itself a picture of the puzzle.
    ValueError for anything but as many such characters.

    >>> canonical("." * 40 + "7" + "." * 40) == canonical("3" + "." * 80)
    True
    """
    if len(line) != layout.many or any(mark not in f"{layout.symbols}.0" for mark in line):
        raise ValueError(
            f"expected {layout.many} characters, 1 to {layout.symbols[-1]} or . for nothing, got"
            f" {len(line)}: {line[:90]!r}"
        )
    if layout.even is None or any(house.kind in (DIAGONAL, EXTRA) for house in layout.houses):
        return min(relabelled(turned) for turned in _pictures(line.replace("0", "."), layout))
    return _labelled(line, _nodes_of(layout))


# ---------------------------------------------------------------- any board


def relabelled(line: str) -> str:
    """The digits named in the order in which they come.

    >>> relabelled("..7.3.7.")
    '..1.2.1.'
    """
    names = {".": "."}
    for mark in line:
        names.setdefault(mark, SYMBOLS[len(names) - 1])
    return "".join(map(names.__getitem__, line))


def _pictures(line: str, layout: Layout) -> list[str]:
    return ["".join(itemgetter(*cells)(line)) for cells in turns_of(layout)]


@cache
def turns_of(layout: Layout) -> tuple[tuple[int, ...], ...]:
    """The ways to turn and mirror a board that bring its houses onto its houses: for each cell the
    one that comes to lie there.
    """
    last, houses = layout.side - 1, set(layout.masks)
    found = []
    for transposed in (False, True):
        for down in (False, True):
            for across in (False, True):
                cells = []
                for cell in layout.cells:
                    row, column = layout.place(cell)
                    row, column = last - row if down else row, last - column if across else column
                    cells.append(layout.at(*((column, row) if transposed else (row, column))))
                moved = {sum(1 << cells[cell] for cell in house.cells) for house in layout.houses}
                if moved == houses:
                    found.append(tuple(cells))
    return tuple(found)


# ---------------------------------------------------------------- boards of even blocks


class _Nodes:
    """The nodes of a board: lines (rows, then columns), chutes (bands, then stacks), the two
    directions, digits.

    ``chute``: for each line its chute; ``way``: for each chute its direction.
    """

    def __init__(self, layout: Layout) -> None:
        assert layout.even is not None
        high, wide = layout.even
        side = layout.side
        self.layout = layout
        self.lines = 2 * side
        self.chute = [2 * side + row // high for row in range(side)]
        self.chute += [2 * side + side // high + column // wide for column in range(side)]
        self.ways = self.lines + side // high + side // wide
        self.way = [self.ways] * (side // high) + [self.ways + 1] * (side // wide)
        self.digits = self.ways + 2
        self.many = self.digits + side
        # Directions are alike where a board transposed is the board.
        kinds = (0, 1, 2, 3) if high == wide else (0, 2, 4, 6)
        apart = 0 if high == wide else 1
        lines = [kinds[0]] * side + [kinds[0] + apart] * side
        chutes = [kinds[1]] * (side // high) + [kinds[1] + apart] * (side // wide)
        self.kind = lines + chutes + [kinds[2], kinds[2] + apart] + [kinds[3]] * side


@cache
def _nodes_of(layout: Layout) -> _Nodes:
    return _Nodes(layout)


def _labelled(line: str, nodes: _Nodes) -> str:
    ties = _ties(line, nodes)
    held = {node for tie in ties for node in tie}
    held |= {nodes.chute[node] for node in held if node < nodes.lines}
    held |= {nodes.way[node - nodes.lines] for node in held if nodes.lines <= node < nodes.ways}
    best = ""
    level = [_refined(ties, list(nodes.kind), nodes)[1]]
    while level:
        cell = _undecided(level[0], held)
        if cell is None:
            best = min(_picture(ties, colours, nodes) for colours in level)
            break
        level = _branches(ties, level, held, nodes)
    return best


def _ties(line: str, nodes: _Nodes) -> list[Tie]:
    layout = nodes.layout
    return [
        (layout.rows[cell], layout.columns[cell], nodes.digits + VALUES[mark] - 1)
        for cell, mark in enumerate(line)
        if mark not in ".0"
    ]


def _refined(ties: Sequence[Tie], colours: Colours, nodes: _Nodes) -> tuple[Look, Colours]:
    """Colours split until nothing splits, and how the puzzle looks then.

    A colour is the rank of what its nodes look like, so it means the same in every picture.
    """
    many = len(set(colours))
    while True:
        around: list[list[int]] = [[] for _ in range(nodes.many)]
        for row, column, digit in ties:
            r, c, d = colours[row], colours[column], colours[digit]
            around[row].append(c << 6 | d)
            around[column].append(r << 6 | d)
            around[digit].append(r << 6 | c if r < c else c << 6 | r)
        for line, chute in enumerate(nodes.chute):
            around[chute].append(colours[line])
            around[line].append(colours[chute] << 12)
        for chute, way in enumerate(nodes.way, start=nodes.lines):
            around[way].append(colours[chute])
            around[chute].append(colours[way] << 12)
        looks = [(own, *sorted(near)) for own, near in zip(colours, around, strict=True)]
        ranks = {look: rank for rank, look in enumerate(sorted(set(looks)))}
        colours = [ranks[look] for look in looks]
        if len(ranks) == many:
            return tuple(sorted(looks)), colours
        many = len(ranks)


def _undecided(colours: Colours, held: set[int]) -> list[int] | None:
    """The nodes of the first of the smallest colours shared by several; None if all are told apart.

    Nodes without a given change no picture, whichever comes first.
    """
    groups: dict[int, list[int]] = {}
    for node in sorted(held):
        groups.setdefault(colours[node], []).append(node)
    shared = [(len(nodes), colour) for colour, nodes in groups.items() if len(nodes) > 1]
    return groups[min(shared)[1]] if shared else None


def _branches(
    ties: Sequence[Tie], level: list[Colours], held: set[int], nodes: _Nodes
) -> list[Colours]:
    """Every way to single out one of the undecided nodes that looks least, each once."""
    found: dict[tuple[int, ...], Colours] = {}
    least: Look | None = None
    for colours in level:
        for node in _undecided(colours, held) or ():
            # The chosen one comes before its equals; doubling makes room.
            tried = [2 * colour + 1 for colour in colours]
            tried[node] -= 1
            look, after = _refined(ties, _ranked(tried), nodes)
            if least is None or look < least:
                least, found = look, {}
            if look == least:
                found.setdefault(tuple(after), after)
    return list(found.values())


def _ranked(colours: Colours) -> Colours:
    ranks = {colour: rank for rank, colour in enumerate(sorted(set(colours)))}
    return [ranks[colour] for colour in colours]


def _picture(ties: Sequence[Tie], colours: Colours, nodes: _Nodes) -> str:
    """The puzzle with lines, directions and digits in the order of their colours."""
    ways = sorted((nodes.ways, nodes.ways + 1), key=lambda node: colours[node])
    chutes = range(nodes.lines, nodes.ways)
    at: dict[int, int] = {}
    for way in ways:
        mine = [chute for chute in chutes if nodes.way[chute - nodes.lines] == way]
        lines: list[int] = []
        for chute in sorted(mine, key=lambda node: colours[node]):
            inside = [line for line, of in enumerate(nodes.chute) if of == chute]
            lines += sorted(inside, key=lambda node: colours[node])
        at.update({line: place for place, line in enumerate(lines)})
    digits = sorted(range(nodes.digits, nodes.many), key=lambda node: colours[node])
    # Digits that stand somewhere are numbered first, so that those that don't leave no gap.
    used = {digit for _, _, digit in ties}
    names = {digit: SYMBOLS[n] for n, digit in enumerate(d for d in digits if d in used)}
    marks = [*nodes.layout.blank]
    for row, column, digit in ties:
        down, across = (row, column) if ways[0] == nodes.ways else (column, row)
        marks[nodes.layout.at(at[down], at[across])] = names[digit]
    return "".join(marks)


__all__ = ["canonical", "relabelled", "turns_of"]
