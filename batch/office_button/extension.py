"""The extension as one file (.oxt): a zip of its description, menus and code.

By the OpenOffice.org Developer's Guide, chapter Extensions: META-INF/manifest.xml names what is
registered, description.xml what it is, Addons.xcu the menu and the toolbar.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from xml.sax.saxutils import quoteattr

from siltbook import __version__
from siltbook.batch.errors import SiltbookError
from siltbook.batch.window import icon

IDENTIFIER = "siltbook.office-button"
SERVICE = "siltbook.OfficeButton"
FILE = "siltbook-office-button.oxt"
ENTRIES = (
    ("judge", "Judge this book"),
    ("check", "Check"),
    ("round", "Round sheet"),
    ("card", "Station card"),
)
_CALC = "com.sun.star.sheet.SpreadsheetDocument"
_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_XMLNS = 'xmlns="http://openoffice.org/extensions/description/2006"'


def extension(program: Path) -> bytes:
    """The extension whose entries call `program`, an absolute path; SiltbookError."""
    here = Path(__file__).parent
    parts = {
        "META-INF/manifest.xml": _manifest(),
        "description.xml": _description(),
        "Addons.xcu": _addons(),
        "CalcWindowState.xcu": _toolbar(),
        "siltbook_button.py": (here / "component.py").read_text(encoding="utf-8"),
        "pythonpath/siltbook_calls.py": (here / "calls.py").read_text(encoding="utf-8"),
        "pythonpath/siltbook_program.py": _program(program),
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in parts.items():
            package.writestr(name, text)
        package.writestr("icon.png", icon.png(48))
    return out.getvalue()


def _program(program: Path) -> str:
    path = str(program)
    if not program.is_absolute() or path.encode(errors="replace").decode() != path:
        raise SiltbookError(
            f"{path}: LibreOffice cannot call a program by this path. Install Siltbook in another"
            " folder."
        )
    return f"PROGRAM = {path!a}\nSERVICE = {SERVICE!a}\n"


def _manifest() -> str:
    kinds = (
        ("application/vnd.sun.star.uno-component;type=Python", "siltbook_button.py"),
        ("application/vnd.sun.star.configuration-data", "Addons.xcu"),
        ("application/vnd.sun.star.configuration-data", "CalcWindowState.xcu"),
    )
    rows = "".join(
        f' <manifest:file-entry manifest:media-type="{kind}" manifest:full-path="{path}"/>\n'
        for kind, path in kinds
    )
    name = "http://openoffice.org/2001/manifest"
    return f'{_HEAD}<manifest:manifest xmlns:manifest="{name}">\n{rows}</manifest:manifest>\n'


def _description() -> str:
    return f"""{_HEAD}<description {_XMLNS} xmlns:xlink="http://www.w3.org/1999/xlink">
 <identifier value="{IDENTIFIER}"/>
 <version value="{__version__}"/>
 <display-name><name lang="en">Siltbook</name></display-name>
 <icon><default xlink:href="icon.png"/></icon>
</description>
"""


def _addons() -> str:
    entries = "".join(_entry(f"m{n}", *entry) for n, entry in enumerate(ENTRIES))
    return f"""{_HEAD}<oor:component-data xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="Addons" oor:package="org.openoffice.Office">
 <node oor:name="AddonUI">
  <node oor:name="OfficeMenuBar">
   <node oor:name="{IDENTIFIER}" oor:op="replace">
    {_title("Siltbook")}<prop oor:name="Context"><value>{_CALC}</value></prop>
    <node oor:name="Submenu">{entries}</node>
   </node>
  </node>
  <node oor:name="OfficeToolBar">
   <node oor:name="{IDENTIFIER}" oor:op="replace">
    {entries}
   </node>
  </node>
 </node>
</oor:component-data>
"""


def _toolbar() -> str:
    """What the toolbar is called, and that it begins docked: on its own it would float."""
    return f"""{_HEAD}<oor:component-data xmlns:oor="http://openoffice.org/2001/registry"
 xmlns:xs="http://www.w3.org/2001/XMLSchema" oor:name="CalcWindowState"
 oor:package="org.openoffice.Office.UI">
 <node oor:name="UIElements"><node oor:name="States">
  <node oor:name="private:resource/toolbar/addon_{IDENTIFIER}" oor:op="replace">
   <prop oor:name="UIName"><value xml:lang="en">Siltbook</value></prop>
   <prop oor:name="Docked"><value>true</value></prop>
   <prop oor:name="Visible"><value>true</value></prop>
  </node>
 </node></node>
</oor:component-data>
"""


def _entry(node: str, what: str, words: str) -> str:
    """A menu or toolbar entry, for workbooks only."""
    url = quoteattr(f"service:{SERVICE}?{what}")[1:-1]
    values = (("URL", url), ("Target", "_self"), ("Context", _CALC))
    props = "".join(f'<prop oor:name="{n}"><value>{v}</value></prop>' for n, v in values)
    return f'<node oor:name="{node}" oor:op="replace">{props}{_title(words)}</node>'


def _title(words: str) -> str:
    return f'<prop oor:name="Title"><value xml:lang="en">{words}</value></prop>'
