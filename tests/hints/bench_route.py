"""How long the eye's way is: the route beside reading order and a scan digit by digit.

    python tests/hints/bench_route.py [PUZZLES]

Own puzzles of newspaper grade (an expected 5 to 30 minutes), 200 of them if unsaid. Medians over
the puzzles; the ratio is each puzzle's own travel over that of reading
order with its looks in their shortest order too, as the route has them: like for like.
"""

from __future__ import annotations

import sys
from pathlib import Path
from statistics import median

from papernudge.hints import Position, grade
from papernudge.hints.generate import puzzle
from papernudge.hints.route import Route, digit_by_digit, reading_order, route

MINUTES = (5.0, 30.0)


def newspaper(many: int) -> list[str]:
    found: list[str] = []
    seed = 0
    while len(found) < many:
        line = puzzle(seed, givens=25 + seed % 6, symmetric=bool(seed % 2))
        if MINUTES[0] <= grade(line).minutes <= MINUTES[1]:
            found.append(line)
        seed += 1
    return found


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    ways: dict[str, list[Route]] = {
        "reading order, as told": [],
        "reading order, looks as short as they go": [],
        "digit by digit, as told": [],
        "route": [],
    }
    for number, line in enumerate(newspaper(many), start=1):
        position = Position.of(line)
        found = (
            reading_order(position),
            reading_order(position, told=False),
            digit_by_digit(position),
            route(position),
        )
        for name, one in zip(ways, found, strict=True):
            ways[name].append(one)
        if sys.stderr.isatty():
            print(f"\r{number}/{many}", end="", file=sys.stderr)
    base = ways["reading order, looks as short as they go"]
    print(f"\n{many} puzzles of {MINUTES[0]:g} to {MINUTES[1]:g} minutes")
    print(f"{'':42}{'looks':>7}{'cells':>8}{'ratio':>8}{'more looks in':>15}")
    for name, routes in ways.items():
        ratio = median(a.travel / b.travel for a, b in zip(routes, base, strict=True))
        more = sum(a.looks > b.looks for a, b in zip(routes, base, strict=True))
        looks, cells = median(r.looks for r in routes), median(r.travel for r in routes)
        print(f"{name:42}{looks:7.0f}{cells:8.1f}{ratio:8.3f}{more:15}")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
