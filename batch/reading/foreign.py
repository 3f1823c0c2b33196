"""Workbooks of other formats: .ods and old .xls are read as an .xlsx of their plain values."""

from __future__ import annotations

from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import DAMAGE, damaged
from siltbook.batch.package.opened import open_package

_OLE = b"\xd0\xcf\x11\xe0"
# A stream that stands alone, as programs of the early nineties wrote it: BOF of BIFF 2 to 5.
_BARE = (b"\x09\x00\x04\x00", b"\x09\x02\x06\x00", b"\x09\x04\x06\x00", b"\x09\x08\x08\x00")
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"
FORMATS = {"ods": "an OpenDocument file (.ods)", "xls": "an old binary workbook (.xls)"}


def kind_of(data: bytes) -> str:
    """'ods', 'xls', or '' for anything else; by the first bytes, whatever the file's name says."""
    if data[:4] in (_OLE, *_BARE):
        return "xls"
    # The type stands first and uncompressed, so that it can be seen here.
    if data[:2] != b"PK":
        return ""
    if data[30:38] == b"mimetype" and _ODS in data[38:150]:
        return "ods"
    zipped_anew = b"content.xml" in data and b"[Content_Types].xml" not in data
    return "ods" if zipped_anew else ""


def as_xlsx(data: bytes, name: str) -> tuple[bytes, str]:
    """The book as an .xlsx and what its format was; `data` itself and '' where it is of no other.

    BookError, one sentence that begins with `name`, where it cannot be read.
    """
    kind = kind_of(data)
    if not kind:
        return data, ""
    odd, cut = "", 0
    try:
        if kind == "xls":
            from siltbook.batch.reading.oldbook import plain_from_xls

            made, odd = plain_from_xls(data, name)
        else:
            from siltbook.batch.reading.opendocument import plain_from_ods

            made, cut = plain_from_ods(open_package(data, name), name)
    except BookError:
        raise
    except DAMAGE as error:
        raise damaged(name, error) from None
    said = FORMATS[kind]
    if odd:
        said += f" that contradicts itself ({odd}; look whether its values are right)"
    if cut:
        said += f" with {cut:,} texts too long for a cell of an .xlsx, which were cut"
    return made, said


def refuse_in_place(data: bytes, path: object) -> None:
    """BookError where the book cannot take the result sheets itself."""
    kind = kind_of(data)
    if kind:
        raise BookError(
            f"{path} is {FORMATS[kind]}, into which no result sheets can be put: run without"
            " --in-place, and a new .xlsx is written."
        )
