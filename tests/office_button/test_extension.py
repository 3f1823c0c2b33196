"""The extension as a file, what its code says without LibreOffice, and how it is registered."""

from __future__ import annotations

import ast
import io
import shlex
import shutil
import sys
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.desktop import machine as machines
from siltbook.batch.desktop.machine import Machine
from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.office_button import calls, register
from siltbook.batch.office_button.extension import ENTRIES, FILE, IDENTIFIER, extension
from tests.faults.support import small_book
from tests.typed.farm import edit

SAMPLE = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
ODD = Path("/opt/a 'farm' \"é漢\\n/bin/siltbook")


def parts(program: Path = ODD) -> dict[str, str]:
    with zipfile.ZipFile(io.BytesIO(extension(program))) as package:
        return {n: package.read(n).decode() for n in package.namelist() if n != "icon.png"}


def test_everything_that_is_named_is_there_and_is_well_formed() -> None:
    held = parts()
    for name in ("META-INF/manifest.xml", "description.xml", "Addons.xcu", "CalcWindowState.xcu"):
        ElementTree.fromstring(held[name])
    manifest = ElementTree.fromstring(held["META-INF/manifest.xml"])
    attribute = "{http://openoffice.org/2001/manifest}full-path"
    assert {row.get(attribute) for row in manifest} <= set(held)
    assert f'<identifier value="{IDENTIFIER}"/>' in held["description.xml"]


def test_menu_and_toolbar_have_the_same_entries_for_workbooks_only() -> None:
    addons = ElementTree.fromstring(parts()["Addons.xcu"])
    urls = [v.text for p in addons.iter("prop") for v in p if (v.text or "").startswith("service:")]
    assert urls == [f"service:siltbook.OfficeButton?{what}" for what, _ in ENTRIES] * 2
    contexts = [v.text for p in addons.iter("prop") for v in p if "sheet.Spread" in (v.text or "")]
    assert len(contexts) == 1 + 2 * len(ENTRIES)


def test_the_program_is_named_by_its_whole_path_whatever_it_holds() -> None:
    held: dict[str, str] = {}
    exec(parts()["pythonpath/siltbook_program.py"], held)
    assert (held["PROGRAM"], held["SERVICE"]) == (str(ODD), "siltbook.OfficeButton")
    for path in (Path("siltbook"), Path("/opt/caf\udce9/siltbook")):
        with pytest.raises(SiltbookError, match="cannot call a program by this path"):
            extension(path)


@pytest.mark.parametrize("name", ["siltbook_button.py", "pythonpath/siltbook_calls.py"])
def test_its_code_needs_nothing_but_what_libreoffice_brings(name: str) -> None:
    tree = ast.parse(parts()[name], feature_version=(3, 8))
    imported = {
        (node.module or "") if isinstance(node, ast.ImportFrom) else node.names[0].name
        for node in ast.walk(tree) if isinstance(node, ast.Import | ast.ImportFrom)
    }  # fmt: skip
    theirs = {"uno", "unohelper", "com", "siltbook_calls", "siltbook_program"}
    assert {one.split(".")[0] for one in imported} <= theirs | set(sys.stdlib_module_names)


@pytest.fixture
def program(tmp_path: Path) -> str:
    """Siltbook as one program, as an installation has it."""
    path = tmp_path / "programs" / "siltbook"
    path.parent.mkdir()
    path.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m siltbook "$@"\n')
    path.chmod(0o755)
    return str(path)


def test_what_libreoffice_set_for_its_own_python_leads_siltbook_nowhere(
    program: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("PYTHONHOME", "PYTHONPATH", "LD_LIBRARY_PATH"):
        monkeypatch.setenv(name, str(tmp_path / "theirs"))
    book = tmp_path / "river é.xlsx"
    book.write_bytes(small_book(tmp_path))
    done = calls.judge(program, str(book))
    assert done == calls.Done(str(tmp_path / "river é.reviewed.xlsx"), "")
    assert Path(done.path).exists()
    # The result goes to where it was, and what somebody typed there is told with its new name.
    edit(Path(done.path), lambda made: setattr(made["Readings"]["N3"], "value", "cloudy"))
    aside = tmp_path / "river é.reviewed.kept-1.xlsx"
    assert (
        f"(Readings: 1 cell changed): it is kept as {aside}; "
        in calls.judge(program, str(book)).said
    )
    paper = calls.round_sheet(program, str(book))
    assert paper.path == str(tmp_path / "river é.round.pdf")
    assert Path(paper.path).read_bytes().startswith(b"%PDF")


@pytest.mark.at_length  # what goes wrong is said in siltbook's own words below
def test_check_says_the_gravest_first_and_the_cautions_that_belong_to_it(
    program: str, tmp_path: Path
) -> None:
    book = shutil.copy(SAMPLE, tmp_path / "river.xlsx")
    lines = calls.check(program, str(book)).said.split("\n\n")
    assert lines[0] == "2 doubts, 1 note in this book."
    assert [line.split(":")[0] for line in lines[1:4]] == ["doubt", "doubt", "note"]
    assert any(line.startswith("! Before a filter is opened") for line in lines)
    many = [{"severity": "note", "sheet": "Farm", "cell": "A1", "message": "odd"}] * 9
    assert calls.found(many, []).endswith("3 more: Judge this book lists all on its Findings.")
    assert calls.found([], []) == "Nothing is wrong or doubtful in what was written down."


def test_what_goes_wrong_is_siltbooks_own_sentence_or_says_what_to_do(
    program: str, tmp_path: Path
) -> None:
    book = tmp_path / "notes.xlsx"
    book.write_bytes(b"no workbook")
    with pytest.raises(calls.RefusedError, match=r"\A/.*notes\.xlsx is not an \.xlsx workbook"):
        calls.judge(program, str(book))
    with pytest.raises(calls.RefusedError, match="Siltbook is not at /gone/siltbook any more"):
        calls.check("/gone/siltbook", str(book))
    Path(program).write_text("#!/bin/sh\necho Killed >&2\nexit 9\n")
    with pytest.raises(calls.RefusedError, match=r"ended with code 9 \(Killed\)"):
        calls.judge(program, str(book))
    Path(program).write_text("#!/bin/sh\necho '{}'\n")
    with pytest.raises(calls.RefusedError, match="Make the button again: siltbook office-button"):
        calls.judge(program, str(book))
    with pytest.raises(calls.RefusedError, match=r"card\.pdf: was not made"):
        calls.station_card(program, str(book), "S01")
    with pytest.raises(calls.RefusedError, match=r"\Alist\.csv: Siltbook reads \.xlsx"):
        calls.refuse_name("/farm/list.csv")


def test_results_of_a_book_are_known_by_their_place_and_name() -> None:
    book = "/farm/river.xlsx"
    ours = ["/farm/river.reviewed.xlsx", "/farm/river.xlsx.reviewed.xlsx", "/farm/river.xlsx"]
    assert [calls.may_be_result_of(path, book) for path in ours] == [True, True, False]
    assert not calls.may_be_result_of("/farm/river-east.reviewed.xlsx", book)
    assert not calls.may_be_result_of("/other/river.reviewed.xlsx", book)
    assert not calls.may_be_result_of("/farm/hill.reviewed.xlsx", book)
    assert calls.is_result("/farm/River.Reviewed.xlsm")
    assert not calls.is_result("/farm/river.reviewed.ods")  # its results go to a new file


class Unopkg:
    """LibreOffice's tool: remembers what it is asked, and answers."""

    def __init__(self, says: str = "", fails: str = "") -> None:
        self.says, self.fails = says, fails
        self.asked: list[list[str]] = []

    def __call__(self, words: Sequence[str], more: Mapping[str, str]) -> str:
        self.asked.append(list(words[1:]))
        if self.fails:
            raise BookError(f"unopkg refused: {self.fails}")
        return self.says


def machine(folder: Path, tool: Unopkg) -> Machine:
    scripts = folder / "programs"
    scripts.mkdir(exist_ok=True)
    (scripts / "siltbook").touch()
    return Machine(sys.platform, folder, {}, (scripts,), tool)


@pytest.fixture
def unopkg(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in PATH that holds LibreOffice's tool, and no other."""
    path = tmp_path / "office" / "unopkg"
    path.parent.mkdir()
    path.touch()
    path.chmod(0o755)
    monkeypatch.setenv("PATH", str(path.parent))
    return path


@pytest.mark.skipif(sys.platform != "linux", reason="programs are marked as such on Linux")
def test_it_is_written_registered_and_taken_back(unopkg: Path, tmp_path: Path) -> None:
    tool, kept = Unopkg(f"Identifier: {IDENTIFIER}\n"), tmp_path / "kept"
    said = register.add(machine(tmp_path, tool), kept)
    assert said[0] == f"Extension: {kept / FILE}"
    assert tool.asked == [["add", "--force", str(kept / FILE)]]
    said = register.remove(machine(tmp_path, tool), kept)
    assert tool.asked[1:] == [["list"], ["remove", IDENTIFIER]]
    assert said[1] == f"{kept / FILE} was removed."
    nothing = register.remove(machine(tmp_path, Unopkg()), kept)
    assert nothing == ["LibreOffice had no menu of Siltbook's."]


@pytest.mark.skipif(sys.platform != "linux", reason="programs are marked as such on Linux")
@pytest.mark.parametrize(
    ("fails", "says"),
    [
        ("unopkg cannot be started. It is already running", "Close LibreOffice"),
        ("no factory com.sun.star.loader.Python", "sudo apt install python3-uno"),
        ("disk full", "unopkg refused: disk full"),
    ],
)
def test_a_refusal_says_what_to_do(unopkg: Path, tmp_path: Path, fails: str, says: str) -> None:
    with pytest.raises(SiltbookError, match=says):
        register.add(machine(tmp_path, Unopkg(fails=fails)), tmp_path / "kept")


@pytest.mark.skipif(sys.platform != "linux", reason="programs are marked as such on Linux")
def test_without_libreoffice_the_command_says_where_the_extension_is(
    unopkg: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    unopkg.unlink()
    monkeypatch.setattr(machines, "this_machine", lambda: machine(tmp_path, Unopkg()))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    done = CliRunner().invoke(main, ["office-button"])
    kept = tmp_path / "config" / "siltbook" / FILE
    assert done.exit_code == 3
    assert kept.exists()
    assert done.output.startswith(f"siltbook: The extension is {kept}. LibreOffice's unopkg was")
    assert done.output.count("\n") == 1
