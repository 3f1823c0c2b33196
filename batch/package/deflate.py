"""How long parts are packed: by a library that is four times as fast as Python's own.

What it makes is plain deflate, which every program unpacks. Where it cannot be had, as on a kind
of processor for which it is not made, Python's own packs.
"""

from __future__ import annotations

import zlib
from typing import Protocol

try:
    from isal import isal_zlib
except ImportError:
    isal_zlib = None  # type: ignore[assignment]

_LEVEL = 2


class Packer(Protocol):
    """What packs a stream piece by piece."""

    def compress(self, data: bytes, /) -> bytes:
        """What is packed so far of the pieces handed over."""

    def flush(self, mode: int = zlib.Z_FINISH, /) -> bytes:
        """The rest of it."""


def thorough() -> Packer:
    """For short parts: small, and slow."""
    return zlib.compressobj(6, zlib.DEFLATED, -zlib.MAX_WBITS)


def quick() -> Packer:
    """For long parts; its stream may go on after a full flush of another packer."""
    if isal_zlib is None:
        return zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS)
    return isal_zlib.compressobj(_LEVEL, isal_zlib.DEFLATED, -isal_zlib.MAX_WBITS)


def checksum(data: bytes, before: int = 0) -> int:
    """The CRC-32 of bytes that follow others with the checksum `before`."""
    return zlib.crc32(data, before) if isal_zlib is None else isal_zlib.crc32(data, before)
