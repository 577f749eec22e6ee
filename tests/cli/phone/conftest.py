"""Lets this folder's tests import what they share, and gives them a server and a phone."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from shared_phone import gate_alone, home, phone, sheet

__all__ = ["gate_alone", "home", "phone", "sheet"]
