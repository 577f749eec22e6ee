"""A board is a value: houses, peers, masks and names come from it."""

from __future__ import annotations

import pytest

from papernudge.hints.layout import NEWSPAPER, Layout


def test_the_newspapers_grid_has_27_houses_of_nine_and_20_peers_a_cell() -> None:
    assert len(NEWSPAPER.houses) == 27
    assert {len(house.cells) for house in NEWSPAPER.houses} == {9}
    assert {len(peers) for peers in NEWSPAPER.peers} == {20}
    assert {len(houses) for houses in NEWSPAPER.houses_of} == {3}
    assert NEWSPAPER.houses[26].name == "block 9"
    assert NEWSPAPER.houses[26].cells == (60, 61, 62, 69, 70, 71, 78, 79, 80)


@pytest.mark.parametrize(("wide", "high"), [(2, 2), (3, 2), (2, 3), (4, 2), (3, 3), (4, 4)])
def test_houses_of_any_size_of_block_cover_the_board_kind_by_kind(wide: int, high: int) -> None:
    board = Layout.of_blocks(high, wide)
    side = wide * high
    for kind in ("row", "column", "block"):
        cells = [c for house in board.houses if house.kind == kind for c in house.cells]
        assert sorted(cells) == list(board.cells)
        assert len(set(board.of_kind(kind))) == side
    # A cell sees its row, its column, and of its block what lies in neither.
    assert {len(p) for p in board.peers} == {2 * (side - 1) + (wide - 1) * (high - 1)}
    assert all(a in board.peers[b] for a in board.cells for b in board.peers[a])
    assert board.peer_masks[0] == sum(1 << cell for cell in board.peers[0])
    assert [board.cell(board.name(cell)) for cell in board.cells] == list(board.cells)


@pytest.mark.parametrize(
    "name", ["", "R0C1", "R1C10", "R01C1", "C1R1", "R1", "R1C1C1", "R١C1", "RC"]
)
def test_a_name_of_no_cell_is_none(name: str) -> None:
    assert NEWSPAPER.cell(name) is None


def test_boards_beyond_the_symbols_and_blocks_of_another_size_are_refused() -> None:
    with pytest.raises(ValueError, match="expected houses of 4 to 16 cells, got 20"):
        Layout.of_blocks(4, 5)
    with pytest.raises(ValueError, match="expected blocks of 9 cells, got one of 8"):
        Layout.of_blocks(3, 3, extra=[range(8)])
    with pytest.raises(ValueError, match="expected 2 blocks that hold each of 4 cells once"):
        Layout.of_regions([(0, 1), (1, 2)])


def test_places_and_boxes_follow_from_the_layout() -> None:
    assert [NEWSPAPER.place(NEWSPAPER.at(r, c)) for r, c in ((0, 0), (4, 7))] == [(0, 0), (4, 7)]
    assert NEWSPAPER.around(0) == (0, 1, 9, 10)
    assert len(NEWSPAPER.around(40, 2)) == 25
    names = [house.name for house in NEWSPAPER.houses]
    boxes = {name: NEWSPAPER.box(number) for number, name in enumerate(names)}
    assert boxes["row 4"] == (0, 3, 9, 4)
    assert boxes["column 2"] == (1, 0, 2, 9)
    assert boxes["block 6"] == (6, 3, 9, 6)
