"""New workbooks by XlsxWriter, which say who made them.

The library names a commercial program as the maker of every file: nobody should look there for a
fault of ours.
"""

from __future__ import annotations

import re
from io import StringIO

from xlsxwriter.packager import Packager
from xlsxwriter.workbook import Workbook as _Workbook

MAKER = "Siltbook"
_NAMED = re.compile(r"<Application>[^<]*</Application>")
_VERSION = re.compile(r"<AppVersion>[^<]*</AppVersion>")  # of the program that was named


class Workbook(_Workbook):  # type: ignore[misc]  # the library has no types
    """A workbook, made in memory, whose properties name Siltbook as the program that wrote it."""

    def _get_packager(self) -> Packager:
        return _Packager()


class _Packager(Packager):  # type: ignore[misc]
    def _write_app_file(self) -> None:
        super()._write_app_file()
        part: StringIO = self.filenames[-1][0]
        named = _NAMED.sub(f"<Application>{MAKER}</Application>", part.getvalue())
        part.seek(0)
        part.truncate()
        part.write(_VERSION.sub("", named))
