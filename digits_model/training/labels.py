"""How a cell's truth is written down for training."""

from __future__ import annotations

LABELS = 12
"""Columns of a label row, int8: digit (0 blank), hand, notes 1–9, struck."""
DIGIT, HAND, STRUCK = 0, 1, 11
NOTES = slice(2, 11)
UNKNOWN = -1
"""In any column but the digit's: the truth does not say; no loss is taken there."""
