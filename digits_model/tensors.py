"""What goes into the networks, and in which order it comes out."""

from __future__ import annotations

CELL = 36
"""Side of a cell inside its patch, patch pixels."""
MARGIN = 6
"""Context kept on every side of the cell, patch pixels."""
SIDE = CELL + 2 * MARGIN
"""Side of a patch, patch pixels."""
PAPER = 224
"""The grey level that blank paper is brought to."""

DIGITS = slice(0, 10)
"""Logits of blank (index 0) and the digits 1–9; blank means no big digit, notes or not."""
HAND = 10
"""Logit that the mark is handwritten; says nothing where the cell is blank."""
NOTES = slice(11, 20)
"""Logits that the small notes 1–9 stand in the cell, struck-out ones not counted."""
STRUCK = 20
"""Logit that something in the cell is struck out."""
TURNED = slice(21, 25)
"""Logits of how many clockwise quarter turns bring the patch upright."""
OUTPUTS = 25
FEATURES = 128
"""Length of the feature vector behind the heads, for likeness within a page."""
CONTEXT = FEATURES + 10 + 1
"""Length of what the second look is told of every cell: features, chances of the digits and of a
hand, by the first look."""
NAMES = (
    "blank",
    *"123456789",
    "handwritten",
    *(f"note {d}" for d in range(1, 10)),
    "struck",
    "upright",
    *(f"{90 * k} degrees clockwise to upright" for k in (1, 2, 3)),
)
"""What each output means, in order."""
