"""The icon: a drop of water that falls through three lines of mesh, drawn here by code."""

from __future__ import annotations

import functools
import math
import struct
import zlib

MARK = b"made by siltbook shortcut"  # in every picture: by it they are known again
SIZES = (16, 32, 48, 64, 128, 256)  # [pixels]
_GROUND = (0x0B, 0x3C, 0x7D)
_DROP = (0xFF, 0xFF, 0xFF)
_MESH = (0xF0, 0xA0, 0x4B)
_SIDE = 3  # samples of a pixel in each direction: edges are smooth

Colour = tuple[int, int, int, int]


@functools.cache
def png(size: int) -> bytes:
    """The icon as a PNG of `size` by `size` [pixels]."""
    rows = b"".join(
        b"\0" + b"".join(bytes(_pixel(x, y, size)) for x in range(size)) for y in range(size)
    )
    head = struct.pack(">IIBBBBB", size, size, 8, 6, 0, 0, 0)
    told = b"Comment\0" + MARK
    parts = ((b"IHDR", head), (b"tEXt", told), (b"IDAT", zlib.compress(rows, 9)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, data) for kind, data in parts)


def ico(sizes: tuple[int, ...] = SIZES) -> bytes:
    """The icon as Windows wants it: PNGs of several sizes in one file."""
    pictures = [png(size) for size in sizes]
    at = 6 + 16 * len(sizes)
    head = struct.pack("<HHH", 0, 1, len(sizes))
    for size, picture in zip(sizes, pictures, strict=True):
        head += struct.pack("<BBBBHHII", size % 256, size % 256, 0, 0, 1, 32, len(picture), at)
        at += len(picture)
    return head + b"".join(pictures)


def icns(sizes: tuple[int, ...] = (128, 256)) -> bytes:
    """The icon as macOS wants it."""
    kinds = {128: b"ic07", 256: b"ic08"}
    parts = b"".join(_entry(kinds[size], png(size)) for size in sizes)
    return _entry(b"icns", parts)


def _entry(kind: bytes, data: bytes) -> bytes:
    return kind + struct.pack(">I", len(data) + 8) + data


def _chunk(kind: bytes, data: bytes) -> bytes:
    whole = kind + data
    return struct.pack(">I", len(data)) + whole + struct.pack(">I", zlib.crc32(whole))


def _pixel(x: int, y: int, size: int) -> Colour:
    """The colour of one pixel: the mean of its samples, edges half transparent."""
    steps = [(i + 0.5) / _SIDE for i in range(_SIDE)]
    seen = [_at((x + dx) / size, (y + dy) / size) for dy in steps for dx in steps]
    inside = [colour for colour in seen if colour is not None]
    if not inside:
        return (0, 0, 0, 0)
    red, green, blue = (round(sum(c[i] for c in inside) / len(inside)) for i in range(3))
    return (red, green, blue, round(255 * len(inside) / len(seen)))


def _at(x: float, y: float) -> tuple[int, int, int] | None:
    """The colour at a place of the unit square, y downwards; None outside the icon."""
    if not _in_ground(x, y):
        return None
    if _in_drop(x, y):
        return _DROP
    return _MESH if _in_mesh(x, y) else _GROUND


def _in_ground(x: float, y: float) -> bool:
    """A square with round corners."""
    radius = 0.2
    dx, dy = max(abs(x - 0.5) - (0.5 - radius), 0), max(abs(y - 0.5) - (0.5 - radius), 0)
    return math.hypot(dx, dy) <= radius


def _in_drop(x: float, y: float) -> bool:
    """A circle with a point above it."""
    centre, radius, top = 0.44, 0.2, 0.1
    if math.hypot(x - 0.5, y - centre) <= radius:
        return True
    share = (y - top) / (centre - top)
    return 0 <= share <= 1 and abs(x - 0.5) <= radius * share**1.25


def _in_mesh(x: float, y: float) -> bool:
    """Three lines under the drop, each shorter than the one above it."""
    lines = ((0.71, 0.32), (0.80, 0.23), (0.89, 0.14))
    return any(abs(y - at) <= 0.026 and abs(x - 0.5) <= half for at, half in lines)
