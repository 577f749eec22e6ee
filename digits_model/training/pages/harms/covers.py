"""What lies on the page: fingers, pens, cups, other paper, things; torn and turned corners."""

from __future__ import annotations

from functools import partial

import numpy as np

from papernudge.digits_model.training.pages.harms import shapes
from papernudge.digits_model.training.pages.harms.scene import Map, Points, Scene
from papernudge.digits_model.training.pages.harms.shapes import Shape

SKINS = (
    (150, 180, 228), (138, 168, 214), (118, 150, 205), (100, 132, 190), (84, 112, 170),
    (62, 88, 142), (48, 66, 108), (36, 48, 78), (28, 36, 58),
)  # fmt: skip
"""Skin under white light, blue, green, red."""
CELLS = (1.0, 2.0, 4.0, 6.0, 9.0)
"""Cells that a cover takes, by level."""


def upto(table: tuple[float, ...], level: float) -> float:
    """A table's value at a level from 1 to its length, straight between and beyond."""
    at = np.arange(1, len(table) + 1)
    if level > at[-1]:
        return table[-1] * (1 + 0.25 * (level - float(at[-1])))
    return float(np.interp(level, at, table)) * min(1.0, level)


def _round_light(scene: Scene, far: Map, wide: float) -> Map:
    """Light on a round body, (H, W): 1 where it faces the light; ``far`` from its rim, cells."""
    import cv2

    height = np.sqrt(np.clip(1 - (1 + np.clip(far, -wide, 0) / wide) ** 2, 0, 1)).astype(np.float32)
    height = scene.soft(height, 0.03)
    dx = cv2.Sobel(height, cv2.CV_32F, 1, 0) / 8 * wide * scene.cell
    dy = cv2.Sobel(height, cv2.CV_32F, 0, 1) / 8 * wide * scene.cell
    to = scene.rng.uniform(0, 2 * np.pi)
    facing = (1 - 0.8 * (dx * np.cos(to) + dy * np.sin(to))) / np.sqrt(1 + dx**2 + dy**2)
    ambient = float(scene.rng.uniform(0.35, 0.75))
    return np.asarray(ambient + (1 - ambient) * np.clip(facing, 0, 1.25), np.float32)


def cast(scene: Scene, far: Map, high: float) -> None:
    """The shadow that a body ``high`` cells thick throws on the paper around it."""
    import cv2

    rng = scene.rng
    to, depth = rng.uniform(0, 2 * np.pi), rng.uniform(0.1, 0.6)
    mask = (far < 0).astype(np.float32)
    by = high * rng.uniform(0.1, 0.8) * scene.cell
    move = np.array([[1, 0, by * np.cos(to)], [0, 1, by * np.sin(to)]])
    fallen = cv2.warpAffine(mask, move, (mask.shape[1], mask.shape[0]))
    shade = scene.soft(np.asarray(fallen, np.float32), high * float(rng.uniform(0.05, 0.4)))
    scene.lit(lambda held: held * (1 - depth * shade[..., None]))


def _edge_of(scene: Scene, far: Map, soft: float) -> Map:
    """Cover 0 to 1 by the distance from the rim, the edge ``soft`` cells wide."""
    wide = max(soft, 0.6 / scene.cell)
    return np.asarray(np.clip(0.5 - far / wide, 0, 1), np.float32)


def _lay(scene: Scene, shape: Shape, colour: Map, wide: float, soft: float) -> Map:
    """Lays a round body of this colour (3,) or (H, W, 3); returns its distance map."""
    far = shape(*scene.places())
    cast(scene, far, wide)
    light = scene.light() / 215
    body = colour * light * _round_light(scene, far, wide / 2)[..., None]
    body = body * (
        1 + 0.03 * scene.blotches(0.08)[..., None] + 0.05 * scene.blotches(0.5)[..., None]
    )
    scene.cover(_edge_of(scene, far, soft), np.clip(body, 0, 255).astype(np.float32))
    return far


def finger(scene: Scene, cells: float) -> None:
    """A finger or thumb that comes in from outside, with its nail or without."""
    rng = scene.rng
    wide = float(rng.uniform(0.8, 1.5) if cells < 1.5 else rng.uniform(0.9, 2.6))
    wide = max(wide, cells / 7)
    shape, tip, way = shapes.in_from_outside(rng, cells, wide, float(rng.uniform(0, 0.12)))
    skin = np.array(SKINS[int(rng.integers(len(SKINS)))], np.float32)
    skin = np.clip(skin * rng.uniform(0.85, 1.15, 3), 10, 250).astype(np.float32)
    u, v = scene.places()
    colour = np.broadcast_to(skin, scene.image.shape).copy()
    if rng.random() < 0.6:
        middle = tip + way * wide * rng.uniform(0.0, 0.25)
        turn = float(np.arctan2(way[1], way[0]))
        nail = shapes.disc(u, v, middle, wide * 0.38, float(rng.uniform(0.6, 0.85)), turn)
        hue = np.array(rng.choice([[1.06, 1.06, 1.05], [1.2, 1.2, 1.1], [0.5, 0.3, 1.0]]))
        on = _edge_of(scene, nail, 0.06)[..., None]
        colour = colour * (1 - on) + np.clip(skin * hue, 0, 255).astype(np.float32) * on
    _lay(scene, shape, colour, wide, float(rng.choice([0.03, 0.08, 0.2])))


def fist(scene: Scene, cells: float) -> None:
    """A hand's side, or several fingers next to each other."""
    rng = scene.rng
    if cells < 3:
        finger(scene, cells)
        return
    to, aim = float(rng.uniform(0, 2 * np.pi)), rng.uniform(2, 7, 2)
    way, aside = np.array([np.cos(to), np.sin(to)]), np.array([-np.sin(to), np.cos(to)])
    count, wide = int(rng.integers(2, 5)), float(rng.uniform(1.0, 1.6))
    offs = rng.uniform(-0.7, 0.7, count)

    def of(reach: float) -> Shape:
        def far(u: Map, v: Map) -> Map:
            parts = []
            for k in range(count):
                tip = aim + (10 - reach + offs[k]) * way + (k - count / 2) * wide * 0.95 * aside
                parts.append(shapes.capsule(u, v, tip, tip + 24 * way, wide))
            return np.asarray(np.min(parts, axis=0), np.float32)

        return far

    skin = np.array(SKINS[int(rng.integers(len(SKINS)))], np.float32)
    _lay(scene, shapes.grown_to(cells, of, 0, 22), skin, wide, float(rng.choice([0.04, 0.15])))


def pen(scene: Scene, cells: float) -> None:
    """A pen or pencil that lies there, whole or its end."""
    rng = scene.rng
    wide = float(rng.uniform(0.3, 0.95)) * (1 + 0.06 * cells)
    shape, tip, way = shapes.in_from_outside(rng, cells, wide)
    colours = [[40, 40, 40], [200, 200, 205], [40, 170, 230], [60, 60, 190], [150, 80, 30]]
    colour = np.array(colours[int(rng.integers(5))], np.float32) * float(rng.uniform(0.7, 1.1))
    u, v = scene.places()
    along = (u - tip[0]) * way[0] + (v - tip[1]) * way[1]
    dress = np.broadcast_to(colour, scene.image.shape).copy()
    for _ in range(int(rng.integers(0, 4))):
        at, long = rng.uniform(0, 5), rng.uniform(0.1, 1.2)
        other = np.array(colours[int(rng.integers(5))], np.float32)
        dress[(along > at) & (along < at + long)] = other
    _lay(scene, shape, dress, wide, 0.02)


def cup(scene: Scene, cells: float) -> None:
    """The edge of a cup, a saucer, a glass, with its rim."""
    rng = scene.rng
    radius, to = float(rng.uniform(3.0, 9.0)), float(rng.uniform(0, 2 * np.pi))
    way = np.array([np.cos(to), np.sin(to)])

    def of(reach: float) -> Shape:
        middle = np.array([4.5, 4.5]) + way * (radius + 7 - reach)
        return partial(shapes.disc, middle=middle, radius=radius)

    shape = shapes.grown_to(cells, of, 0, 14)
    far = shape(*scene.places())
    cast(scene, far, 1.0)
    china = np.array(rng.choice([[235, 238, 240], [90, 60, 40], [60, 120, 180]]), np.float32)
    inside = np.array([20, 30, 45], np.float32) if rng.random() < 0.6 else china * 0.8
    rim = np.clip((far + rng.uniform(0.15, 0.6)) / 0.1, 0, 1)[..., None]
    body = (china * rim + inside * (1 - rim)) * scene.light() / 215
    body = body * (1 + 0.05 * scene.blotches(1.5)[..., None])
    scene.cover(_edge_of(scene, far, 0.03), np.clip(body, 0, 255).astype(np.float32))


def paper_corner(scene: Scene, cells: float) -> None:
    """The corner or edge of another page, blank or printed."""
    rng = scene.rng
    to, opening = float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(1.2, 2.2))
    way, start = np.array([np.cos(to), np.sin(to)]), rng.uniform(3, 6, 2)

    def of(reach: float) -> Shape:
        return partial(shapes.corner, at=start + way * (9 - reach), to=to, opening=opening)

    far = shapes.grown_to(cells, of, 0, 18)(*scene.places())
    cast(scene, far, float(rng.uniform(0.05, 0.5)))
    colour = scene.light() * np.asarray(rng.uniform(0.75, 1.15, 3), np.float32)
    page = np.clip(np.broadcast_to(colour, scene.image.shape), 0, 255).copy()
    if rng.random() < 0.7:
        _print_on(scene, page, to)
    scene.cover(_edge_of(scene, far, 0.03), page)


def _print_on(scene: Scene, page: Map, to: float) -> None:
    """Lines of something like text, along the page's own edge."""
    rng = scene.rng
    u, v = scene.places()
    along, down = u * np.cos(to) + v * np.sin(to), v * np.cos(to) - u * np.sin(to)
    high = float(rng.uniform(0.2, 0.6))
    body = np.abs((down / high) % 1 - 0.5) < 0.28
    wave = np.sin(along * 23 / high) * np.sin(along * 9.7 / high + np.floor(down / high) * 5)
    page[body & (wave > -0.15)] *= float(rng.uniform(0.15, 0.5))


def thing(scene: Scene, cells: float) -> None:
    """A coin, a leaf, a rubber, a clip: something of no known shape lying on the grid."""
    rng = scene.rng
    middle = shapes.on_grid(rng, 1.0)
    waves = rng.normal(0, 0.12, 4) * rng.choice([0, 1])
    turns = rng.uniform(0, 6.3, 4)
    shape = partial(
        shapes.blob, middle=middle, radius=float(np.sqrt(cells / np.pi)), waves=waves, turns=turns
    )
    colour = np.asarray(rng.uniform(15, 240, 3), np.float32)
    if rng.random() < 0.5:
        colour = np.asarray(colour.mean() * rng.uniform(0.85, 1.1, 3), np.float32)
    _lay(scene, shape, colour, float(rng.uniform(0.2, 1.2)), 0.03)


def strip(scene: Scene, cells: float) -> None:
    """A ruler, a ribbon, a paper strip across the grid; light or clear."""
    rng = scene.rng
    to, at = float(rng.uniform(0, np.pi)), shapes.on_grid(rng, 2.0)
    wide = max(0.25, cells / 9)
    way = np.array([np.cos(to), np.sin(to)])
    far = shapes.capsule(*scene.places(), at - 20 * way, at + 20 * way, wide)
    cast(scene, far, 0.2)
    colour = np.asarray(rng.uniform(60, 250, 3), np.float32) * scene.light() / 215
    scene.cover(_edge_of(scene, far, 0.02), np.clip(colour, 0, 250).astype(np.float32))


def _beneath(scene: Scene) -> Map:
    """What shows where the page is gone: a table, another page's plain paper."""
    rng = scene.rng
    colour = np.asarray(rng.uniform(20, 230, 3), np.float32)
    if rng.random() < 0.5:
        colour = np.array([50, 85, 130], np.float32) * float(rng.uniform(0.4, 1.6))
    _, v = scene.places()
    grain = scene.blotches(0.3) * 0.06 + 0.05 * np.sin(v * 9 + scene.blotches(1.0))
    return np.asarray(np.clip(colour * (1 + grain[..., None]), 0, 255), np.float32)


def _at_corner(rng: np.random.Generator) -> tuple[Points, float]:
    """One of the grid's corners and the direction out of the grid there."""
    k = int(rng.integers(4))
    at = np.array([[0, 0], [9, 0], [9, 9], [0, 9]][k], np.float64)
    return at, float(np.arctan2(*(at - 4.5)[::-1]) + rng.normal(0, 0.25))


def torn(scene: Scene, cells: float) -> None:
    """A corner torn off: a ragged edge, its fibres white, something else beneath."""
    rng = scene.rng
    at, to = _at_corner(rng)
    way = np.array([np.cos(to), np.sin(to)])

    def of(reach: float) -> Shape:
        return partial(shapes.half_plane, at=at - way * (reach - 3), to=to)

    far = shapes.grown_to(cells, of, 0, 12)(*scene.places())
    far = far + 0.12 * scene.blotches(0.4) + 0.04 * scene.blotches(0.1)
    fibre = _edge_of(scene, far - float(rng.uniform(0.03, 0.15)), 0.04)
    scene.cover(fibre, np.minimum(scene.light() * 1.12, 255).astype(np.float32))
    scene.cover(_edge_of(scene, far, 0.03), _beneath(scene))


def turned_corner(scene: Scene, cells: float) -> None:
    """A dog-ear: a corner folded over onto the grid, its back showing, the table beyond."""
    rng = scene.rng
    at, to = _at_corner(rng)
    way = np.array([np.cos(to), np.sin(to)])
    depth = float(rng.uniform(0.6, 2.0))  # of paper beyond the grid's corner
    fold = depth
    while fold < 12:  # the back reaches as far inside the fold as the page reached outside
        if 0.5 * ((fold - depth) * 2) ** 2 + (fold - depth) * 2 * depth >= cells:
            break
        fold += 0.05
    u, v = scene.places()
    beyond = -shapes.half_plane(u, v, at, to) + (fold - depth)  # over the fold, outwards
    aside = np.abs((v - at[1]) * way[0] - (u - at[0]) * way[1])
    back = np.maximum(beyond, np.maximum(-beyond - fold, aside + np.abs(beyond) - fold * 1.02))
    gone = np.maximum(-beyond, aside - 30).astype(np.float32)
    cast(scene, np.asarray(back, np.float32), 0.4)
    scene.cover(_edge_of(scene, gone, 0.03), _beneath(scene))
    tone = scene.light() * float(rng.uniform(0.75, 1.05))
    shade = 1 - 0.35 * np.exp(-(np.clip(-beyond, 0, None) / 0.4))
    page = np.clip(tone * shade[..., None], 0, 255).astype(np.float32)
    if rng.random() < 0.6:
        _print_on(scene, page, to + 0.8)
    scene.cover(_edge_of(scene, np.asarray(back, np.float32), 0.03), page)
