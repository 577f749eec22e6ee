"""Lets this folder's tests import what they share, and gives them a server and a phone."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from shared_phone import gate_alone, home, no_worker_before_a_photo_comes, phone, sheet

__all__ = ["gate_alone", "home", "no_worker_before_a_photo_comes", "phone", "sheet"]
