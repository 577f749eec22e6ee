"""Whether a pattern is what its name says, by definition: nothing of the techniques is used here.

``fault`` is given a technique's name, the pattern, the evidence and the claim. It works out what
each cell can take by the evidence alone (a digit that stands bars its row, column and block, a
premise bars itself) and then asks the definition of the name, with the pattern's own digits,
cells, houses and links. The definitions are the trade's (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from papernudge.hints.deduction import Evidence
from papernudge.hints.geometry import DIGITS_IN
from papernudge.hints.line import Step
from papernudge.hints.pattern import Link, Node, Pattern

Claims = list[tuple[int, int]]


def bits(mask: int) -> list[int]:
    return [k for k in range(mask.bit_length()) if mask >> k & 1]


def house_cells(house: int) -> set[int]:
    kind, k = divmod(house, 9)
    if kind == 0:
        return {9 * k + j for j in range(9)}
    if kind == 1:
        return {9 * j + k for j in range(9)}
    return {c for c in range(81) if c // 27 == k // 3 and c % 9 // 3 == k % 3}


HOUSE = [house_cells(h) for h in range(27)]
SEEN = [set().union(*(h for h in HOUSE if c in h)) - {c} for c in range(81)]


@dataclass(frozen=True)
class Case:
    """A pattern with what each cell can take by the evidence; ``written``: evidence that stands."""

    name: str
    digits: frozenset[int]
    cells: Mapping[str, set[int]]
    houses: Mapping[str, tuple[int, ...]]
    pattern: Pattern
    left: list[set[int]]
    written: Mapping[int, int]
    struck: Claims
    places: Claims
    depth: int = 3

    def role(self, role: str) -> set[int]:
        return self.cells.get(role, set())

    def where(self, digit: int, house: int) -> set[int]:
        return {c for c in HOUSE[house] if digit in self.left[c]}

    @property
    def base(self) -> tuple[int, ...]:
        return self.houses.get("base", ())


def left_by(written: Mapping[int, int], out: int) -> list[set[int]]:
    left = [set(range(1, 10)) for _ in range(81)]
    for bit in bits(out):
        left[bit % 81].discard(bit // 81 + 1)
    for cell, digit in written.items():
        left[cell] &= {digit}
        for other in SEEN[cell]:
            left[other].discard(digit)
    return left


def case_of(step: Step, evidence: Evidence | None = None, depth: int = 3) -> Case:
    evidence = evidence or step.evidence
    pattern, board = step.pattern, step.board
    written = {
        c: next(d for d in range(1, 10) if board.placed[d] >> c & 1) for c in bits(evidence.cells)
    }
    return Case(
        step.technique,
        frozenset(k + 1 for k in bits(pattern.digits)),
        {role: set(bits(mask)) for role, mask in pattern.cells},
        dict(pattern.houses),
        pattern,
        left_by(written, evidence.earlier | evidence.noted),
        written,
        [(b % 81, b // 81 + 1) for b in bits(step.ruled_out)],
        list(step.places),
        depth,
    )


def fault(step: Step, evidence: Evidence | None = None, depth: int = 3) -> str | None:
    """What is wrong with a step's pattern by this evidence; None if it is what it claims.
    ``depth``: how deep the splits of a net may go.
    """
    case = case_of(step, evidence, depth)
    try:
        DEFINITIONS[case.name](case)
    except (AssertionError, ValueError) as wrong:  # not as many of something as there should be
        return f"{case.name}: {wrong}"
    except KeyError:
        return f"{case.name} has no definition"
    return None


def idle(step: Step) -> str | None:
    """A part of the evidence without which the pattern could be read all the same."""
    whole, depth = step.evidence, 3
    if step.technique == "net":  # with deeper splits less would do
        depth = next(n for n in range(4) if fault(step, depth=n) is None)
    for name in ("cells", "earlier", "noted"):
        mask = getattr(whole, name)
        for bit in bits(mask):
            parts = {n: getattr(whole, n) for n in ("cells", "earlier", "noted")}
            parts[name] = mask & ~(1 << bit)
            less = Evidence(**parts, houses=whole.houses, one_solution=whole.one_solution)
            if fault(step, less, depth) is None:
                return f"{step.technique}: {name} {bit} is idle"
    return None


def need(condition: object, text: str) -> None:
    if not condition:
        raise AssertionError(text)


# ------------------------------------------------------------ singles


def last_blank(case: Case) -> None:
    ((cell, digit),) = case.places
    (house,) = case.base
    need(case.role("filled") == HOUSE[house] - {cell}, "not all but one are filled")
    need({case.written[c] for c in case.role("filled")} == set(range(1, 10)) - {digit}, "digits")


def hidden_single(case: Case) -> None:
    ((cell, digit),) = case.places
    (house,) = case.base
    need(case.digits == {digit}, "another digit")
    need(case.where(digit, house) == {cell}, "not one place")
    _witnesses(case, {digit}, {cell})


def _witnesses(case: Case, digits: set[int], free: set[int]) -> None:
    """Each witness bars its digit from the blanks it is said to, none of them written or free."""
    (house,) = case.base
    need(all(case.written.get(c) in digits for c in case.role("witness")), "a witness of another")
    need(case.role("filled") <= HOUSE[house], "a filled cell outside")
    need(set(case.written) == case.role("witness") | case.role("filled"), "evidence without role")
    need({b.witness for b in case.pattern.barred} == case.role("witness"), "a witness bars nothing")
    for barred in case.pattern.barred:
        cells = set(bits(barred.cells))
        need(
            cells and cells <= SEEN[barred.witness] & HOUSE[house], "barred from what it can't see"
        )
        need(not cells & set(case.written), "barred from a written cell")
        need(len(digits) > 1 or not cells & free, "barred from the place itself")


def naked_single(case: Case) -> None:
    ((cell, digit),) = case.places
    need(case.left[cell] == {digit}, "not one digit")
    need(case.role("witness") == set(case.written), "evidence without role")
    need(case.digits == set(case.written.values()), "other digits")
    need(all(cell in HOUSE[h] for h in case.base), "a house without the cell")
    around = set().union(*(HOUSE[h] for h in case.base)) if case.base else set()
    need(case.role("witness") <= around, "a witness outside")


def finished_house(case: Case) -> None:
    (house,) = case.base
    written = dict(case.written)
    left = case.left
    for cell, digit in case.places:
        need({c for c in HOUSE[house] if digit in left[c]} == {cell}, "not one place")
        left = [found - {digit} if c in SEEN[cell] else found for c, found in enumerate(left)]
        left[cell] = {digit}
        written[cell] = digit
    need(case.digits == {d for _, d in case.places}, "other digits")
    _witnesses(case, set(case.digits), {c for c, _ in case.places})


# ------------------------------------------------------------ sets

SIZE = {"pair": 2, "triple": 3, "quad": 4}


def naked_set(case: Case) -> None:
    cells, size = case.role("set"), SIZE[case.name.split()[1]]
    need(len(cells) == len(case.digits) == size, "size")
    need(case.base and all(cells <= HOUSE[h] for h in case.base), "not in its house")
    need(all(case.left[c] <= case.digits for c in cells), "another candidate")
    for cell, digit in case.struck:
        need(digit in case.digits and cell not in cells, "strikes something else")
        need(any(cell in HOUSE[h] for h in case.base), "strikes outside its house")


def hidden_set(case: Case) -> None:
    cells, size = case.role("set"), SIZE[case.name.split()[1]]
    need(len(cells) == len(case.digits) == size, "size")
    (house,) = case.base
    need(cells <= HOUSE[house], "not in its house")
    need(all(case.where(d, house) <= cells for d in case.digits), "another place")
    need(all(c in cells and d not in case.digits for c, d in case.struck), "strikes elsewhere")


def locked(case: Case) -> None:
    (digit,), (base,), (cover,) = case.digits, case.base, case.houses["cover"]
    need(case.where(digit, base) <= HOUSE[cover], "not locked")
    need(case.role("locked") <= HOUSE[base] & HOUSE[cover], "locked cells elsewhere")
    for cell, struck in case.struck:
        need(struck == digit and cell in HOUSE[cover] - HOUSE[base], "strikes elsewhere")


def fish(case: Case) -> None:
    (digit,), covers = case.digits, case.houses["cover"]
    size = {"X-wing": 2, "swordfish": 3, "jellyfish": 4}[case.name.removeprefix("finned ")]
    need(len(set(case.base)) == len(set(covers)) == size, "size")
    need({h // 9 for h in case.base} | {h // 9 for h in covers} == {0, 1}, "not lines")
    need(len({h // 9 for h in case.base}) == 1, "base of rows and columns")
    over = set().union(*(HOUSE[h] for h in covers))
    under = set().union(*(HOUSE[h] for h in case.base))
    fins = case.role("fin")
    need(case.role("corner") <= over & under and fins <= under - over, "corners or fins elsewhere")
    need(bool(fins) == case.name.startswith("finned"), "fins against the name")
    need(any(fins <= HOUSE[h] for h in range(18, 27)), "fins of two blocks")
    for house in case.base:
        need(case.where(digit, house) <= over | fins, "a place outside")
    for cell, struck in case.struck:
        need(struck == digit and cell in over - under, "strikes elsewhere")
        need(all(cell in SEEN[f] for f in fins), "strikes what a fin doesn't see")


# ------------------------------------------------------------ wings


def _taken(case: Case) -> None:
    """What a wing says that each of its cells takes is what the evidence leaves there."""
    told = {cell: set(DIGITS_IN[digits]) for cell, digits in case.pattern.takes}
    need(set(told) == case.role("pivot") | case.role("pincer"), "takes")
    need(all(case.left[cell] == digits for cell, digits in told.items()), "takes")


def xy_wing(case: Case) -> None:
    _taken(case)
    (pivot,), pincers = case.role("pivot"), sorted(case.role("pincer"))
    need(len(pincers) == 2 and all(p in SEEN[pivot] for p in pincers), "pincers out of sight")
    (z,) = {d for _, d in case.struck}
    one, other = (case.left[p] for p in pincers)
    need(len(case.left[pivot]) == 2 and z not in case.left[pivot], "pivot")
    need(one - other and other - one and one & other == {z}, "pincers")
    need((one | other) - {z} == case.left[pivot] and len(one) == len(other) == 2, "pincers")
    need(case.digits == one | other, "digits")
    need(all(p in SEEN[c] for c, _ in case.struck for p in pincers), "strikes out of sight")


def xyz_wing(case: Case) -> None:
    _taken(case)
    (pivot,), pincers = case.role("pivot"), sorted(case.role("pincer"))
    need(len(pincers) == 2 and all(p in SEEN[pivot] for p in pincers), "pincers out of sight")
    (z,) = {d for _, d in case.struck}
    one, other = (case.left[p] for p in pincers)
    need(case.left[pivot] == one | other == case.digits and len(case.digits) == 3, "pivot")
    need(len(one) == len(other) == 2 and one & other == {z}, "pincers")
    holders = [pivot, *pincers]
    need(all(p in SEEN[c] for c, _ in case.struck for p in holders), "strikes out of sight")


def w_wing(case: Case) -> None:
    _taken(case)
    pincers, (house,) = sorted(case.role("pincer")), case.base
    need(len(pincers) == 2 and pincers[0] not in SEEN[pincers[1]], "pincers")
    need(all(case.left[p] == case.digits for p in pincers) and len(case.digits) == 2, "pincers")
    (y,) = {d for _, d in case.struck}
    (x,) = case.digits - {y}
    places = case.where(x, house)
    need(places <= case.role("bridge") and not places & set(pincers), "bridge")
    need(all(SEEN[c] & set(pincers) for c in case.role("bridge")), "a place that sees neither")
    need(all(p in SEEN[c] for c, _ in case.struck for p in pincers), "strikes out of sight")


# ------------------------------------------------------------ chains


def _excludes(node: Node, cell: int, digit: int) -> bool:
    """Whether a node, if true, bars a digit from a cell."""
    cells = set(bits(node.cells))
    if node.digit == digit:
        return all(cell in SEEN[c] for c in cells)
    return cells == {cell}


def _holds(case: Case, link: Link) -> None:
    one, other = set(bits(link.one.cells)), set(bits(link.other.cells))
    if link.kind == "weak":
        need(all(_excludes(link.one, c, link.other.digit) for c in other), "no weak link")
    elif link.house is None:
        need(one == other and len(one) == 1 and link.one.digit != link.other.digit, "not one cell")
        need(case.left[min(one)] <= {link.one.digit, link.other.digit}, "a third digit")
    else:
        need(link.one.digit == link.other.digit and not one & other, "ends")
        need(case.where(link.one.digit, link.house) <= one | other, "a third place")
        need(one | other <= HOUSE[link.house], "ends outside the house")


def chain(case: Case) -> None:
    links = case.pattern.links
    need(len(links) >= 3 and len(links) % 2 == 1, "length")
    need([ln.kind for ln in links] == ["strong", "weak"] * (len(links) // 2) + ["strong"], "kinds")
    need(all(a.other == b.one for a, b in pairwise(links)), "broken")
    for link in links:
        _holds(case, link)
    first, last = links[0].one, links[-1].other
    for cell, digit in case.struck:
        need(_excludes(first, cell, digit) and _excludes(last, cell, digit), "strikes elsewhere")
    used = [node for link in links for node in (link.one, link.other)]
    need(case.digits == {node.digit for node in used}, "digits")
    ends = set(bits(first.cells | last.cells))
    every = set().union(*(bits(node.cells) for node in used))
    need(case.role("end") == ends and case.role("between") == every - ends, "roles")


def two_links(case: Case) -> None:
    """Chains of one digit and two strong links, by how these lie."""
    chain(case)
    strong = [link.house for link in case.pattern.links if link.kind == "strong"]
    joint = case.pattern.links[1].house
    assert joint is not None
    kinds = sorted(h // 9 for h in strong if h is not None)
    need(len(kinds) == 2 and len(case.digits) == 1, "not two links of a digit")
    grouped = any(
        len(bits(ln.one.cells)) + len(bits(ln.other.cells)) > 2 for ln in case.pattern.links
    )
    if case.name == "skyscraper":
        need(kinds in ([0, 0], [1, 1]) and joint // 9 == 1 - kinds[0] and not grouped, "form")
    elif case.name == "two-string kite":
        need(kinds == [0, 1] and joint // 9 == 2 and not grouped, "form")
    elif case.name == "turbot fish":
        need(not grouped, "form")
    else:
        need(kinds[1] == 2 and kinds[0] < 2 and grouped, "form")
        (block,) = (h for h in strong if h is not None and h >= 18)
        places = case.where(min(case.digits), block)
        lines = [(HOUSE[r] | HOUSE[9 + c]) for r in range(9) for c in range(9)]
        need(any(places <= cross for cross in lines), "not one row and one column")


def remote_pairs(case: Case) -> None:
    cells = case.role("end") | case.role("between")
    need(all(case.left[c] <= case.digits for c in cells) and len(case.digits) == 2, "not one pair")
    one, other = case.role("end")
    need(all(c in SEEN[one] & SEEN[other] and d in case.digits for c, d in case.struck), "strikes")
    links = case.pattern.links
    for link in links:
        _holds(case, link)
    need(sum(link.house is None for link in links if link.kind == "strong") % 2 == 0, "odd")


def colouring(case: Case) -> None:
    links, (digit,) = case.pattern.links, case.digits
    need(all(link.kind == "strong" and link.house is not None for link in links), "kinds")
    need(all(a.other == b.one for a, b in pairwise(links)), "broken")
    for link in links:
        _holds(case, link)
    nodes = [links[0].one, *(link.other for link in links)]
    string = [bits(node.cells)[0] for node in nodes]
    need(case.role("one colour") == set(string[0::2]), "colours")
    need(case.role("other colour") == set(string[1::2]), "colours")
    first, last = string[0], string[-1]
    if len(string) % 2:
        need(last in SEEN[first], "two of a colour that don't see each other")
        need(all(c in string[0::2] and d == digit for c, d in case.struck), "strikes")
    else:
        need(all({first, last} <= SEEN[c] and d == digit for c, d in case.struck), "strikes")


# ------------------------------------------------------------ others


def almost_locked(case: Case) -> None:
    sets = case.role("one set"), case.role("other set")
    need(not sets[0] & sets[1], "sets overlap")
    taken = [set().union(*(case.left[c] for c in cells)) & case.digits for cells in sets]
    for cells, house in zip(sets, case.base if len(case.base) > 1 else case.base * 2, strict=True):
        need(cells <= HOUSE[house], "not in its house")
    shared, kept = case.pattern.links
    x, z = shared.one.digit, kept.one.digit
    need(x != z and {d for _, d in case.struck} == {z}, "digits")
    for k, cells in enumerate(sets):
        need(all(case.left[c] <= case.digits for c in cells), "another candidate")
        need(len(taken[k]) <= len(cells) + 1, "more digits than one over")
        xs, zs = ({c for c in cells if d in case.left[c]} for d in (x, z))
        need(xs <= set(bits((shared.one, shared.other)[k].cells)), "a further place for x")
        need(zs <= set(bits((kept.one, kept.other)[k].cells)), "a further place for z")
    others = bits(shared.other.cells)
    need(all(c in SEEN[o] for c in bits(shared.one.cells) for o in others), "x fits in both")
    holders = bits(kept.one.cells | kept.other.cells)
    need(all(h in SEEN[c] for c, _ in case.struck for h in holders), "strikes out of sight")


def rectangle(case: Case) -> None:
    corners = case.role("corner")
    need(len(corners) == 4 and len(case.digits) == 2, "size")
    kinds = [{h for h in range(9 * k, 9 * k + 9) if HOUSE[h] & corners} for k in range(3)]
    need([len(kind) for kind in kinds] == [2, 2, 2], "not two rows, columns and blocks")
    (fourth,) = {c for c, _ in case.struck}
    need(fourth in corners and {d for _, d in case.struck} <= case.digits, "strikes")
    need(all(case.left[c] <= case.digits for c in corners - {fourth}), "a third digit")


def net(case: Case) -> None:
    (cell,), (digit,) = case.role("assumed"), case.digits
    need(case.struck == [(cell, digit)], "strikes something else")
    left = [set(found) for found in case.left]
    left[cell] &= {digit}
    need(any(_impossible(left, n) for n in range(case.depth + 1)), "leads to no contradiction")


def _impossible(left: list[set[int]], depth: int) -> bool:
    """Whether singles alone, with cells split so deep, leave some cell or house without a digit."""
    left, done = [set(found) for found in left], set[int]()
    while True:
        if any(not found for found in left):
            return True
        for house in HOUSE:
            for digit in range(1, 10):
                where = [c for c in house if digit in left[c]]
                if not where:
                    return True
                if len(where) == 1:
                    left[where[0]] = {digit}
        fresh = [c for c in range(81) if len(left[c]) == 1 and c not in done]
        if not fresh:
            break
        for cell in fresh:
            done.add(cell)
            for other in SEEN[cell]:
                left[other] -= left[cell]
    if depth == 0 or len(done) == 81:
        return False
    return any(
        all(_impossible(assumed, depth - 1) for assumed in _split(left, cell))
        for cell in _smallest(left)
    )


def _smallest(left: list[set[int]]) -> list[int]:
    fewest = min(len(found) for found in left if len(found) > 1)
    return [c for c in range(81) if len(left[c]) == fewest]


def _split(left: list[set[int]], cell: int) -> Iterator[list[set[int]]]:
    for digit in left[cell]:
        yield [{digit} if c == cell else found for c, found in enumerate(left)]


DEFINITIONS: dict[str, Callable[[Case], None]] = {
    "last blank of a house": last_blank,
    "hidden single": hidden_single,
    "naked single": naked_single,
    "several cells of a house": finished_house,
    **{f"naked {size}": naked_set for size in SIZE},
    **{f"hidden {size}": hidden_set for size in SIZE},
    "locked candidates": locked,
    **{a + b: fish for a in ("", "finned ") for b in ("X-wing", "swordfish", "jellyfish")},
    "XY-wing": xy_wing,
    "XYZ-wing": xyz_wing,
    "W-wing": w_wing,
    "alternating chain": chain,
    **dict.fromkeys(("skyscraper", "two-string kite", "turbot fish", "empty rectangle"), two_links),
    "remote pairs": remote_pairs,
    "colouring": colouring,
    "almost-locked sets": almost_locked,
    "unique rectangle": rectangle,
    "net": net,
}


def lies_in_focus(step: Step, house: int | None, digit: int | None) -> bool:
    """Whether the pattern lies where depth 1 sends: its digit is among the pattern's; or the house
    is one of the pattern's own, and holds all of it where it lies in one house.
    """
    case = case_of(step)
    if digit is not None:
        return digit in case.digits
    assert house is not None
    if house not in case.base:
        return False
    whole = case.name.split()[0] in ("naked", "hidden", "locked") and "single" not in case.name
    if whole:
        cells = case.role("set") | case.role("locked")
        return cells <= HOUSE[house]
    return True
