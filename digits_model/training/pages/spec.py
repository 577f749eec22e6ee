"""What a page is to look like: every thing that varies, as one flat record."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

Colour = tuple[int, int, int]
"""Blue, green, red, 0 to 255: what white light looks like after passing the ink twice."""

SPLITS = ("train", "calibrate", "test")
PENS = ("pencil", "ballpoint", "gel", "felt", "laid")
NOTE_STYLES = ("corner", "row", "raster", "middle")
NOTE_OF_ENTRY = 0.6
"""Notes are at most so high as a share of entries: nobody writes them nearly as large."""
SMALLEST_NOTE = 0.85
"""Long sets of notes, and those on a raster, are written by so much smaller."""
DECOYS = (
    "text",
    "crossword",
    "letters",
    "table",
    "picture",
    "small solved",
    "4x4",
    "6x6",
    "16x16",
    "irregular",
    "cages",
    "diagonals",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSpec:
    """A page, its paper and the camera over it. Same spec, same bytes.

    Lengths named "cells" are in sides of a cell of the page's main grids. Each field is drawn
    with chance of its own, so that changing one leaves all the others' outcome as it was.
    """

    seed: int
    split: str = "train"
    """Whose typefaces, writers and puzzles may be used: train, calibrate or test."""
    preset: str = ""
    """Name of the preset that made this spec; for the record only."""

    # -- the photo's frame
    width: int = 960
    height: int = 1280
    """Raster size in pixels, before any tag or quarter turn."""
    focus: str = "grid"
    """``"grid"`` aims at the first grid, ``"page"`` at all of them and the whole decoys."""
    share: float = 0.85
    """How much of the frame the target fills, in the tighter of the two directions."""
    off_x: float = 0.0
    off_y: float = 0.0
    """Where the target sits in the room left over, -1 to 1."""
    cut: str = ""
    """``"left"``, ``"right"``, ``"top"``, ``"bottom"``: the frame cuts the first grid there."""
    cut_cells: float = 1.5
    """By how many cells."""

    # -- the page
    grids: int = 1
    """Puzzles of the page, 0 to 8."""
    neighbours: float = 0.5
    """Chance that a place around the target holds something (a decoy, text, another grid)."""
    decoys: tuple[str, ...] = ("text",)
    """What fills places: see DECOYS."""
    gap: float = 1.6
    """Distance between neighbouring places, cells."""
    titles: bool = True
    title: int = -1
    """Which title stands above the first grid, counted as in fonts.TITLES; -1 for any."""
    boards: tuple[str, ...] = ()
    """What each puzzle of the page is, as ``boards.Board.words`` says it; nothing, or no word for
    it, stands for the newspaper's 9×9 grid."""
    masthead: bool = False
    """The paper's name over the whole width above the target."""
    text: int = 0
    """Which typeface runs the text and the titles."""

    # -- print
    face: str = ""
    """Font file of the givens, from fonts.json; it must belong to the split."""
    digit_high: float = 0.56
    """Height of a lining digit, cells."""
    digit_x: float = 0.0
    digit_y: float = 0.0
    """Where givens sit off the cell's centre, cells."""
    given_ink: Colour = (30, 30, 30)
    gain: float = 0.0
    """Spread of the print's ink, cells; negative for thin, worn print."""
    mottle: float = 0.1
    """How unevenly the print covers, 0 to 1."""
    thin: float = 0.02
    thick: float = 0.05
    """Line weights, cells."""
    outer: float = 0.06
    """Weight of the border; 0 for none."""
    double: bool = False
    """Block lines as two thin ones."""
    dotted: bool = False
    """Thin lines as rows of dots."""
    thin_ink: Colour = (70, 70, 70)
    thick_ink: Colour = (30, 30, 30)
    shade: str = ""
    """``""``, ``"blocks"`` (every other block), ``"cells"`` (some), ``"givens"``, ``"all"``."""
    shade_ink: Colour = (215, 215, 215)
    halftone: float = 0.0
    """Dots a cell that a tint is printed with; 0 for a solid tint."""
    givens: int = 28
    """About how many; fewer where the puzzle would not be proper otherwise: never."""
    misprints: int = 0
    """Givens printed wrong, in the first grid."""

    # -- hand
    fill: float = 0.0
    """Share of the blanks that hold an entry."""
    order: str = "any"
    """``"natural"`` fills the easiest cells first, as people do; ``"any"`` is quicker to draw."""
    mistakes: int = 0
    """Entries of the first grid that are not the solution's digit."""
    followed: int = 0
    """Entries written after the mistakes, each forced by what then stood there: first such as
    are wrong too. A mistake is marked ``root``, what follows from it ``follows``."""
    writer: int = 0
    """Which writer of the split, counted round."""
    variants: float = 0.15
    """Chance that a digit's shape is one of our own drawn variants, not a writer's."""
    pen: str = "ballpoint"
    second: float = 0.0
    """Share of the entries written with another pen."""
    pen_ink: Colour = (120, 40, 30)
    pen_width: float = 0.03
    """Cells."""
    pen_cover: float = 0.9
    """How dark a stroke is, 0 to 1."""
    entry_high: float = 0.55
    """Cells."""
    entry_vary: float = 0.12
    """Spread of size and place between entries: standard deviation, cells."""
    slant: float = 0.0
    """Degrees, to the right."""
    wobble: float = 0.03
    """Distortion of a digit's shape, share of its height."""
    note_share: float = 0.0
    """Share of the cells without entry that hold notes."""
    note_style: str = "corner"
    note_high: float = 0.24
    note_pencil: bool = True
    """Notes in pencil whatever the pen."""
    struck_notes: float = 0.0
    """Chance that a cell's notes include struck-out ones."""
    struck: float = 0.0
    """Chance that a blank or an entry has a struck-out digit beside or below it."""
    ghosts: float = 0.0
    """Chance of a rubbed-out digit in a cell."""
    overwritten: float = 0.0
    """Chance that an entry was written over another digit."""
    circled: float = 0.0
    """Chance that an entry or a given is circled."""
    highlit: float = 0.0
    """Chance that a cell is coloured with a marker."""
    crossing: float = 0.0
    """Chance that an entry is so big or so far off that it touches or crosses a line."""
    margin_notes: int = 0
    """Notes parked beside rows and below columns."""

    # -- paper
    tone: Colour = (222, 230, 234)
    grain: float = 0.3
    """Texture of the paper, 0 to 1."""
    through: float = 0.0
    """Show-through of the page behind, 0 to 1."""
    creases: int = 0
    stains: int = 0
    specks: int = 0
    """Crumbs, ink spots and scratches, small and dark."""
    ring: bool = False
    """A coffee ring."""
    table: int = 0
    """What lies under the paper, where the frame shows it."""

    # -- shape of the paper
    curl: float = 0.0
    """Largest distance of the first grid's crossings from the best homography, cells."""
    curl_kind: str = "gutter"
    """``"gutter"``, ``"wave"``, ``"fold"`` or ``"roll"``."""
    curl_axis: float = 0.0
    """Direction across the curl, degrees from the page's x axis."""

    # -- camera
    turn: float = 0.0
    """Degrees, clockwise as seen, any."""
    tilt: float = 0.0
    """Degrees between the camera's axis and the paper's normal."""
    tilt_to: float = 0.0
    """Direction of the tilt, degrees in the frame."""
    fov: float = 62.0
    """Field of view along the longer side, degrees."""
    lens: float = 0.0
    """Barrel (positive) or pincushion, share of the half diagonal at the corner."""
    focus_blur: float = 0.6
    """Standard deviation, pixels."""
    motion: float = 0.0
    """Length of the motion blur, pixels."""
    motion_to: float = 0.0
    """Its direction, degrees."""
    upscaled: float = 1.0
    """The sensor's true resolution as a share of the raster's."""
    noise: float = 2.0
    """Standard deviation, grey levels."""
    noise_soft: float = 0.3
    """How blotchy the noise is, 0 to 1."""
    white: float = 205.0
    """Grey level of white paper in full light."""
    black: float = 25.0
    """Grey level of black ink, raised by flare and haze."""
    gamma: float = 1.0
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    """Gains of blue, green, red."""
    cast_drift: float = 0.0
    """How much the cast changes from the middle to the corners, 0 to 1."""
    gradient: float = 0.1
    """Fall of light across the frame, share."""
    gradient_to: float = 0.0
    vignette: float = 0.1
    """Fall of light in the corners, share."""
    shadow: float = 0.0
    """Depth of a cast shadow (a hand, the phone), 0 to 1."""
    shadow_soft: float = 0.02
    """Width of its edge, share of the frame."""
    glare: float = 0.0
    """Strength of a glossy patch of light, 0 to 1."""
    sharpen: float = 0.0
    """The phone's own sharpening."""
    jpeg: int = 80
    """Quality 20 to 95; 0 leaves the raster as it is."""
    tag: int = 0
    """EXIF rotation tag written when the page is stored, 0 for none; right only by chance, and
    it never turns the raster."""

    def as_json(self) -> dict[str, Any]:
        """Plain values that :func:`from_json` takes back; boards only where there are any."""
        told = asdict(self)
        if not self.boards:
            del told["boards"]
        return told


def from_json(held: dict[str, Any]) -> PageSpec:
    """The spec that ``as_json`` wrote, lists made tuples again."""
    fields: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in held.items()}
    return PageSpec(**fields)
