"""Crossings of block lines as a small network sees them: rough meshes where lines are faint."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]

PAPER = 64
"""Level of plain paper in what the network sees."""
_AROUND = 61
"""Pixels a side over which the paper's brightness is averaged."""


def relative(grey: Grey) -> Grey:
    """How much darker than its surroundings a picture is, uint8 (H, W), as the network sees it.

    A share of the local brightness in 256ths, plus PAPER: light and shade fall out.
    """
    import cv2

    around = cv2.blur(grey, (_AROUND, _AROUND), borderType=cv2.BORDER_REFLECT)
    # Ink would darken what it is compared with: average again with the dark lifted.
    lifted = cv2.max(grey, cv2.convertScaleAbs(around, alpha=0.94))
    paper = cv2.blur(lifted, (_AROUND, _AROUND), borderType=cv2.BORDER_REFLECT).astype(np.float32)
    share = (paper - grey) / (paper + 8.0)
    return np.clip(np.rint(PAPER + 256.0 * share), 0, 255).astype(np.uint8)
