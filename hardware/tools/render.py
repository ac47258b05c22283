"""A picture of solids: parallel projection, depth per pixel, edges where part or face changes."""

from collections.abc import Sequence
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from hardware.model.shapes import Part

Array = NDArray[np.float64]
LIGHT = np.array([0.35, -0.45, 0.82])


def render(
    parts: Sequence[Part],
    size: tuple[int, int],
    look: tuple[float, float],
    centre: tuple[float, float, float],
    scale: float,
) -> NDArray[np.uint8]:
    """Draw parts.

    Args:
        parts: solids with their colours.
        size: of the picture, in pixels.
        look: where the eye stands: degrees round z from −y towards +x, degrees above the floor.
        centre: what lies in the middle.
        scale: pixels per mm.

    Returns:
        The picture, rows from the top.
    """
    wide, tall = 2 * size[0], 2 * size[1]  # drawn at twice the size, so that edges are smooth
    turn, up = radians(look[0]), radians(look[1])
    right = np.array([cos(turn), sin(turn), 0.0])
    eye = np.array([sin(turn) * cos(up), -cos(turn) * cos(up), sin(up)])
    above = np.cross(eye, right)
    axes = np.array([right, above, eye])
    depth = np.full((tall, wide), -np.inf)
    face = np.full((tall, wide), -1, dtype=np.int64)
    colours, normals, owners = [np.ones(3)], [np.zeros(3)], [-1]
    for number, part in enumerate(parts):
        mesh = part.solid.to_mesh()
        corners = mesh.vert_properties[:, :3].astype(float)[mesh.tri_verts]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(normal, axis=1)
        flat = (corners - np.array(centre)) @ axes.T
        flat[..., :2] *= 2 * scale
        flat[..., 0] += wide / 2
        flat[..., 1] = tall / 2 - flat[..., 1]
        colour = np.array([int(part.material.colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
        for triangle, way, area in zip(flat, normal, length, strict=True):
            if area < 1e-9 or way @ eye <= 0:
                continue
            unit = way / area
            colours.append(colour * (0.55 + 0.45 * max(0.0, float(unit @ LIGHT))))
            normals.append(unit)
            owners.append(number)
            _fill(triangle, depth, face, len(colours) - 1)
    shown = np.where(face < 0, 0, face)
    picture = np.array(colours)[shown]
    return _with_edges(picture, depth, np.array(normals)[shown], np.array(owners)[shown])


def _fill(triangle: Array, depth: Array, face: NDArray[np.int64], number: int) -> None:
    low = np.maximum(np.floor(triangle[:, :2].min(axis=0)).astype(int), 0)
    high = np.ceil(triangle[:, :2].max(axis=0)).astype(int)
    high = np.minimum(high, [depth.shape[1] - 1, depth.shape[0] - 1])
    if (high < low).any():
        return
    xs, ys = np.arange(low[0], high[0] + 1) + 0.5, np.arange(low[1], high[1] + 1) + 0.5
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = triangle
    area = (by - cy) * (ax - cx) + (cx - bx) * (ay - cy)
    if abs(area) < 1e-12:
        return
    u = ((by - cy) * (xs - cx)[None, :] + (cx - bx) * (ys - cy)[:, None]) / area
    v = ((cy - ay) * (xs - cx)[None, :] + (ax - cx) * (ys - cy)[:, None]) / area
    z = u * az + v * bz + (1 - u - v) * cz
    window = np.s_[low[1] : high[1] + 1, low[0] : high[0] + 1]
    seen = (u >= 0) & (v >= 0) & (u + v <= 1) & (z > depth[window])
    depth[window][seen] = z[seen]
    face[window][seen] = number


def _with_edges(
    picture: Array, depth: Array, normal: Array, owner: NDArray[np.int64]
) -> NDArray[np.uint8]:
    edge = np.zeros(depth.shape, dtype=bool)
    for axis in (0, 1):
        here = [slice(None), slice(None)]
        there = [slice(None), slice(None)]
        here[axis], there[axis] = slice(1, None), slice(None, -1)
        a, b = tuple(here), tuple(there)
        bend = ((normal[a] * normal[b]).sum(axis=-1) < 0.85) & (owner[a] >= 0)
        edge[a] |= (owner[a] != owner[b]) | bend
    picture = np.where(edge[..., None], picture * 0.35, picture)
    small = picture.reshape(picture.shape[0] // 2, 2, picture.shape[1] // 2, 2, 3).mean(axis=(1, 3))
    return (255 * np.clip(small, 0, 1)).astype(np.uint8)
