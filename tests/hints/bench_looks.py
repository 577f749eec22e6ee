"""Fit the constants of ``papernudge.hints.looks`` on the times of people, and print them.

    python tests/hints/bench_looks.py [--ways N] [--folds N] [--record FILE]

Solves each puzzle of human_times ``--ways`` times, at each position taking one of all singles in
sight, the more likely the fewer looks it takes. The model: each way to write a next digit is
noticed at a rate of exp(-RATE times its looks); the next digit takes

    A * (sum of the rates) ** -CROWD * (blanks / 40) ** LEFT + C        minutes

and, where only a line with patterns leads on, exp(STUCK + U * looks + V * patterns). A puzzle takes
the sum. Fitted are the constants of a look (BLANK, IN_LINE, SEARCHED, DIGIT, SWITCH: in glances)
and those of the model: least squares of log minutes, weighted by the square root of the finishers,
each constant held to its start by a small ridge. "a pattern" is V in glances; there are too few
stuck positions to tell it well. Printed: the constants, their spread over puzzles drawn with
replacement, and Spearman's rank correlation with the times of puzzles not fitted on.
"""

from __future__ import annotations

import argparse
import csv
import json
import random
import sys
from math import exp
from pathlib import Path
from typing import NamedTuple

import numpy as np
import shared_puzzles
from numpy.typing import NDArray
from ranks import spearman

from papernudge.hints import Position
from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import HOUSES
from papernudge.hints.glances import glances_of
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.looks import (
    Sight,
    glances,
    scan_witnesses,
    sight_digits_elsewhere,
    sight_glances,
    single_looks,
)
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles

Array = NDArray[np.float64]

LOGS = {"RATE": 0.25, "BLANK": 0.2, "IN_LINE": 0.5, "SEARCHED": 0.8, "DIGIT": 0.6, "SWITCH": 2.0}
"""What is positive, fitted as a logarithm, and where it starts."""
PLAIN = {"A": -1.0, "CROWD": 0.9, "LEFT": 0.5, "C": -3.0}
STUCK = {"STUCK": -0.9, "U": 0.04, "V": 0.5}
NAMES = [*LOGS, *PLAIN, *STUCK]
START = np.array([*np.log(list(LOGS.values())), *PLAIN.values(), *STUCK.values()])
RIDGE = 1.0


class Seen(NamedTuple):
    """A way to write a digit: glances, further blanks, witnesses in line and elsewhere, digits kept
    in mind, and whether it is a sight.
    """

    glances: int
    blanks: int
    in_line: int
    searched: int
    digits: int
    sight: int


def seen(board: Board, single: Deduction) -> Seen:
    read = single.reads[0]
    if isinstance(read, Sight):
        many = len(sight_glances(board, read.cell, read.digits))
        digits = sight_digits_elsewhere(board, read.cell, read.digits).bit_count()
        return Seen(many, 0, 0, 0, digits, 1)
    blank = HOUSES[read.house] & board.blank
    witnesses = scan_witnesses(board, read)
    near = (witnesses & glances_of(NEWSPAPER).bands[read.house]).bit_count()
    further = blank.bit_count() - 1
    return Seen(
        glances(NEWSPAPER, blank, read.house), further, near, witnesses.bit_count() - near, 0, 0
    )


class Sample(NamedTuple):
    """All positions of all solves: the puzzle of each, its blanks, and for a stuck one the looks
    and patterns of its line; then the ways to go on, with the position of each.
    """

    puzzle: NDArray[np.int64]
    blanks: Array
    line: Array
    at: NDArray[np.int64]
    ways: Array


def sampled(puzzles: list[str], ways: int) -> Sample:
    of, blanks, lines, at, found = [], [], [], [], []
    stuck: dict[str, tuple[tuple[int, int], Deduction]] = {}
    for number, line in enumerate(puzzles):
        for way in range(ways):
            dice = random.Random(1000 * number + way)
            position = Position.of(line)
            while position.blank:
                board = Board.of(position)
                singles = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
                told = (0, 0)
                if singles:
                    at += [len(of)] * len(singles)
                    found += [seen(board, single) for single in singles]
                    rates = [exp(-0.25 * single_looks(board, s.reads[0])) for s in singles]
                    chosen = dice.choices(singles, rates)[0]
                else:
                    if position.digits not in stuck:
                        stuck[position.digits] = _line(board)
                    told, chosen = stuck[position.digits]
                of.append(number)
                blanks.append(position.blank.bit_count())
                lines.append(told)
                position = position.with_digit(*chosen.places[0])
    return Sample(
        np.array(of), np.array(blanks, float), np.array(lines, float), np.array(at), np.array(found)
    )


def _line(board: Board) -> tuple[tuple[int, int], Deduction]:
    line = nearest(cheapest_lines(board), ())
    assert line is not None
    return (line.looks, len(line.steps) - 1), line.last.deduction


class Model:
    """Log minutes of every puzzle as a function of the constants."""

    def __init__(self, sample: Sample, puzzles: int) -> None:
        self.sample, self.puzzles = sample, puzzles
        self.stuck = sample.line[:, 1] > 0
        counts = np.bincount(sample.at, minlength=len(sample.puzzle))
        self.starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
        self.ways = len(sample.puzzle) / np.bincount(sample.puzzle, minlength=puzzles).sum()
        self.left = np.log(sample.blanks / 40)

    def __call__(self, x: Array) -> Array:
        rate, *looks = np.exp(x[: len(LOGS)])
        a, crowd, left, c = x[len(LOGS) : len(LOGS) + 4]
        effort = self.sample.ways @ np.array([1.0, *looks])
        rates = np.bincount(self.sample.at, np.exp(-rate * effort), len(self.stuck))
        rates[self.stuck] = 1.0
        plain = np.exp(a - crowd * np.log(rates) + left * self.left) + np.exp(c)
        stuck = np.exp(x[-3] + self.sample.line @ x[-2:])
        times = np.where(self.stuck, stuck, plain)
        return np.asarray(np.log(np.bincount(self.sample.puzzle, times, self.puzzles)))


def fitted(model: Model, minutes: Array, weight: Array) -> Array:
    """Least squares by Gauss and Newton, damped (K. Levenberg, Quart. Appl. Math. 2, 1944)."""
    x, damping = START.copy(), 1.0
    root = np.sqrt(weight)

    def parts(at: Array) -> Array:
        return np.concatenate([root * (model(at) - minutes), np.sqrt(RIDGE) * (at - START)])

    now = parts(x)
    for _ in range(40):
        steps = [parts(x + 1e-4 * unit) for unit in np.eye(len(x))]
        slope = (np.array(steps).T - now[:, None]) / 1e-4
        gram = slope.T @ slope
        move = np.linalg.solve(gram + damping * np.diag(np.diag(gram)), -slope.T @ now)
        after = parts(x + move)
        if after @ after < now @ now:
            gain = now @ now - after @ after
            x, now, damping = x + move, after, damping / 3
            if gain < 1e-4 * (now @ now):
                break
        else:
            damping *= 4
    return x


def constants(x: Array) -> dict[str, float]:
    """The constants of a look, by name, in glances."""
    found = dict(zip(NAMES, x, strict=True))
    told = {name: exp(found[name]) for name in LOGS}
    slope = told["RATE"] * found["CROWD"]
    return {**told, "a pattern": found["V"] / slope}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ways", type=int, default=2)
    parser.add_argument("--folds", type=int, default=5)
    parser.add_argument("--draws", type=int, default=10)
    parser.add_argument("--record", type=Path)
    options = parser.parse_args()
    with (shared_puzzles.folder() / "human_times.csv").open() as file:
        rows = list(csv.DictReader(file))
    sample = sampled([row["puzzle"] for row in rows], options.ways)
    model = Model(sample, len(rows))
    minutes = np.log([float(row["mean_seconds"]) / 60 for row in rows])
    # The solves of a puzzle are added up, not averaged: A takes that in.
    minutes = minutes + np.log(options.ways)
    weight = np.sqrt([float(row["finishers"]) for row in rows])
    best = fitted(model, minutes, weight)
    dice = np.random.default_rng(0)
    order, out = dice.permutation(len(rows)), np.zeros(len(rows))
    for fold in range(options.folds):
        test = order[fold :: options.folds]
        without = weight.copy()
        without[test] = 0
        out[test] = model(fitted(model, minutes, without))[test]
    draws = []
    for _ in range(options.draws):
        times = np.bincount(dice.integers(0, len(rows), len(rows)), minlength=len(rows))
        draws.append(constants(fitted(model, minutes, weight * times)))
    stuck = int(model.stuck.sum())
    print(f"{len(rows)} puzzles, {len(model.stuck)} positions, {stuck} of them without a single")
    found = constants(best)
    for name, value in found.items():
        spread = [draw[name] for draw in draws]
        print(f"  {name:10} {value:6.2f}   ({min(spread):.2f} to {max(spread):.2f})")
    score = spearman(out, minutes)
    print(f"Spearman with people's times, cross-validated: {score:.3f}")
    if options.record:
        record = {name: round(value, 3) for name, value in found.items()}
        options.record.write_text(json.dumps({**record, "spearman": round(score, 3)}, indent=1))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
