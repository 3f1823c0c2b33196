"""The stamp at the end of a result file: whether a single byte changed since Siltbook wrote it.

It is the comment that a zip may carry behind its directory. Programs that read workbooks pass
it over, and one that saves the file drops it. So a file whose stamp fits was saved by nobody.
"""

from __future__ import annotations

import hashlib
import struct

_LABEL = b"siltbook "
_LENGTH = len(_LABEL) + 64
_END = b"PK\x05\x06"
_END_SIZE = 22  # [bytes] of the record that ends a zip, without a comment


def stamped(package: bytes, book_name: str) -> bytes:
    """The package as `Parts.save` made it, with the stamp of the book that it was made from."""
    if package[-_END_SIZE:][:4] != _END or package[-2:] != b"\0\0":
        raise ValueError("a package that ends in a comment already")
    body = memoryview(package)[:-2]  # a long book is not copied more often than it must be
    return b"".join((body, struct.pack("<H", _LENGTH), _LABEL, _print(body, book_name)))


def untouched(data: bytes, book_name: str) -> bool:
    """Whether a file is, byte for byte, the result that was made from a book of that name."""
    length, comment = data[-_LENGTH - 2 : -_LENGTH], data[-_LENGTH:]
    if length != struct.pack("<H", _LENGTH) or not comment.startswith(_LABEL):
        return False
    return comment == _LABEL + _print(memoryview(data)[: -_LENGTH - 2], book_name)


def _print(body: memoryview, book_name: str) -> bytes:
    running = hashlib.sha256(body)
    running.update(b"\0" + book_name.encode("utf-8", "surrogateescape"))
    return running.hexdigest().encode()
