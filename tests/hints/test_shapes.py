"""Boards from words, and the sentences for words that make none."""

from __future__ import annotations

import json
import pickle

import pytest
from boards import WINDOWS, boards

from papernudge.hints.layout import BLOCK, NEWSPAPER, pieces
from papernudge.hints.shapes import ShapeError, as_data, blocks_for, board_of, from_data

JIGSAW = "AABBB AAABB CCDDD CCCDD EEEEE"


def test_no_words_make_the_newspapers_grid() -> None:
    assert board_of() is board_of("3x3") is NEWSPAPER


@pytest.mark.parametrize("words", ["2x3", " 2 x 3 ", "2×3", "2X3", "2*3"])
def test_blocks_are_rows_by_columns(words: str) -> None:
    board = board_of(words)
    assert (board.side, board.even) == (6, (2, 3))
    assert board.houses[12].cells == (0, 1, 2, 6, 7, 8)


def test_regions_that_are_even_blocks_are_that_board() -> None:
    line = "".join("ABCDEFGHI"[3 * (c // 27) + c % 9 // 3] for c in range(81))
    assert board_of(regions=line) is NEWSPAPER
    assert board_of(regions=line.lower()[::-1]) is NEWSPAPER


def test_blocks_of_any_form_are_numbered_as_they_are_read() -> None:
    board = board_of(regions=JIGSAW)
    blocks = [house for house in board.houses if house.kind == "block"]
    assert [house.cells[0] for house in blocks] == [0, 2, 10, 12, 20]
    assert board.even is None
    assert board.house_name(board.blocks[24]) == "block 5"


def test_diagonals_and_extra_blocks_are_houses_like_any_other() -> None:
    board = board_of(diagonals=True, extra=[WINDOWS])
    names = [house.name for house in board.houses[27:]]
    assert names == ["diagonal 1", "diagonal 2", *(f"extra block {n}" for n in (1, 2, 3, 4))]
    assert board.houses[27].cells == (0, 10, 20, 30, 40, 50, 60, 70, 80)
    assert board.houses[28].cells == (8, 16, 24, 32, 40, 48, 56, 64, 72)
    assert board.houses[29].cells == (10, 11, 12, 19, 20, 21, 28, 29, 30)
    # A corner sees its row, its column, its block, its diagonal; the centre both diagonals.
    assert board.peer_masks[0].bit_count() == 20 + 6
    assert board.peer_masks[40].bit_count() == 20 + 12


def test_extra_blocks_may_share_cells_in_lines_of_their_own() -> None:
    first, second = "AAAA" + "." * 12, "A..." * 4
    board = board_of("2x2", extra=[second, first])
    assert board.plan.extra == ((0, 1, 2, 3), (0, 4, 8, 12))
    assert as_data(board)["extra"] == [first, second]


def test_every_board_comes_back_from_plain_data_and_from_another_process() -> None:
    for name, board in boards().items():
        assert from_data(json.loads(json.dumps(as_data(board)))) is board, name
        assert pickle.loads(pickle.dumps(board)) is board, name
        firsts = [house.cells[0] for house in board.houses[: board.side]]
        assert firsts == [board.side * r for r in range(board.side)]
        blocks = [set(house.cells) for house in board.houses if house.kind == BLOCK]
        assert set[int]().union(*blocks) == set(board.cells)
        assert all(pieces(board.side, block) == 1 for block in blocks)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ({"blocks": "7"}, "--blocks is rows x columns of a block, such as 2x3 or 4x4"),
        ({"blocks": "1x6"}, "at least 2 of each and 16 cells at most; got 1x6"),
        ({"blocks": "4x5"}, "16 cells at most; got 4x5"),
        ({"blocks": "x"}, "got x"),
        ({"blocks": "2x3", "regions": JIGSAW}, "by --blocks or by --regions, not by both"),
        ({"regions": "AAB"}, "16, 25, 36, 49, 64, 81, 100, 121, 144, 169, 196, 225 or 256 of them"),
        ({"regions": JIGSAW.replace("E", ".")}, "it can't hold '.'"),
        ({"regions": JIGSAW.replace("E", "A")}, "names 5 blocks, each by a letter; this one names"),
        ({"regions": "AABBB AAABB CCDDD CCCDD EEEED"}, "Block D of --regions has 6 cells"),
        (
            {"regions": "ABBBA AAABB CCDDD CCCDD EEEEE"},
            "Block A of --regions lies in 2 pieces",
        ),
        ({"extra": ["A" * 9]}, "--extra holds 81 characters, row by row"),
        ({"extra": ["." * 81]}, "--extra names no extra block: write a letter in the 9 cells"),
        ({"extra": ["A" * 8 + "." * 73]}, "Extra block A has 8 cells: expected 9"),
        ({"extra": ["?" * 9 + "." * 72]}, "it can't hold '?'"),
    ],
)
def test_words_that_make_no_board_get_a_sentence(words: dict[str, object], sentence: str) -> None:
    with pytest.raises(ShapeError) as caught:
        board_of(**words)  # type: ignore[arg-type]
    assert sentence in str(caught.value)


def test_lengths_of_lines_tell_which_even_blocks_would_do() -> None:
    assert blocks_for(16) == ["2x2"]
    assert blocks_for(36) == ["2x3", "3x2"]
    assert blocks_for(144) == ["2x6", "3x4", "4x3", "6x2"]
    assert blocks_for(25) == blocks_for(17) == []
