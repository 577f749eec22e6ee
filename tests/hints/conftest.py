"""Lets the tests of this room use its helpers (strategies, sat, shared_puzzles) by name."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
