"""The icon as files: each system's pieces, made on a machine that is simulated."""

from __future__ import annotations

import base64
import configparser
import os
import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.desktop import machine as machines
from siltbook.batch.desktop import macos, shortcut, windows
from siltbook.batch.desktop.machine import Machine, run
from siltbook.batch.errors import BookError
from siltbook.batch.window import icon

ODD = 'a "farm" of $HOME `ls` \\n'
SAMPLE = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
on_linux = pytest.mark.skipif(sys.platform != "linux", reason="a Linux desktop is wanted")


def no_tool(words: Sequence[str], more: Mapping[str, str]) -> str:
    raise AssertionError(words)


def linux(folder: Path, program: str = "programs") -> Machine:
    """A person's home with a desktop, and the window's program, which writes what it is given."""
    home, scripts = folder / "home", folder / program
    (home / "Desktop").mkdir(parents=True)
    scripts.mkdir()
    window = scripts / "siltbook-window"
    window.write_text('#!/bin/sh\nfor word; do echo "$word"; done > "${0%/*}/given"\n')
    window.chmod(0o755)
    return Machine("linux", home, {}, (folder / "elsewhere", scripts), no_tool)


def files(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


ENTRIES = (".local/share/applications/siltbook.desktop", "Desktop/siltbook.desktop")
PICTURE = ".local/share/siltbook/siltbook.png"


def test_linux_gets_an_entry_in_the_menu_and_on_the_desktop(tmp_path: Path) -> None:
    machine = linux(tmp_path)
    said = shortcut.add(machine)
    made = files(machine.home)
    assert set(made) == {*ENTRIES, PICTURE}
    assert made[PICTURE] == icon.png(256)
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str  # type: ignore[assignment]
    entry.read_string(made[ENTRIES[0]].decode())
    held = entry["Desktop Entry"]
    window = tmp_path / "programs" / "siltbook-window"
    assert held["Exec"] == f'"{window}" %F'
    assert (held["Icon"], held["Terminal"]) == (str(machine.home / PICTURE), "false")
    assert "MimeType" not in held
    assert made[ENTRIES[1]] == made[ENTRIES[0]]
    assert all(os.access(machine.home / one, os.X_OK) for one in ENTRIES)
    menu, desktop = (machine.home / one for one in ENTRIES)
    assert said[:2] == [f"Menu: {menu}", f"Desktop: {desktop}"]
    assert "Allow Launching" in said[2]
    assert "drop books" in said[3]


def test_what_was_put_there_is_renewed_and_taken_away_and_nothing_else(tmp_path: Path) -> None:
    machine = linux(tmp_path)
    theirs = machine.home / "Desktop" / "notes.desktop"
    theirs.write_text("[Desktop Entry]\n")
    shortcut.add(machine)
    first = files(machine.home)
    shortcut.add(machine)
    assert files(machine.home) == first
    removed = shortcut.remove(machine)
    assert len(removed) == 3
    assert all(line.endswith(" was removed.") for line in removed)
    assert set(files(machine.home)) == {"Desktop/notes.desktop"}
    assert shortcut.remove(machine) == ["There was no icon of Siltbook's."]


@pytest.mark.parametrize("theirs", [*ENTRIES, PICTURE])
def test_a_file_of_another_is_never_overwritten_nor_removed(tmp_path: Path, theirs: str) -> None:
    machine = linux(tmp_path)
    path = machine.home / theirs
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"[Desktop Entry]\nName=Siltbook\n")
    with pytest.raises(BookError, match="was not made by 'siltbook shortcut', so nothing was"):
        shortcut.add(machine)
    assert set(files(machine.home)) == {theirs}
    stays = f"{path}: was not made by 'siltbook shortcut', so it stays."
    assert shortcut.remove(machine) == [stays]
    assert path.read_bytes() == b"[Desktop Entry]\nName=Siltbook\n"


@pytest.mark.parametrize(
    ("told", "folder"),
    [('XDG_DESKTOP_DIR="$HOME/Schreib tisch"', "Schreib tisch"), ('XDG_DESKTOP_DIR="$HOME/"', "")],
)
def test_the_desktop_is_where_the_person_has_it_or_nowhere(
    tmp_path: Path, told: str, folder: str
) -> None:
    machine = linux(tmp_path)
    settings = machine.home / ".config" / "user-dirs.dirs"
    settings.parent.mkdir()
    settings.write_text(f'# XDG_DESKTOP_DIR="$HOME/Desktop"\n{told}\n')
    (machine.home / "Schreib tisch").mkdir()
    said = shortcut.add(machine)
    assert not (machine.home / ENTRIES[1]).exists()
    if folder:
        assert (machine.home / folder / "siltbook.desktop").exists()
    else:
        assert said[1] == "There is no desktop folder, so the icon is in the menu alone."


def test_where_the_window_is_not_installed_nothing_is_made(tmp_path: Path) -> None:
    machine = replace(linux(tmp_path), scripts=(tmp_path / "elsewhere",))
    with pytest.raises(BookError, match=r"siltbook-window: is not in .*elsewhere.* Install"):
        shortcut.add(machine)
    assert files(machine.home) == {}


@pytest.mark.parametrize("odd", ["100 %", "caf\udce9"])
def test_a_path_that_not_every_desktop_starts_is_refused(tmp_path: Path, odd: str) -> None:
    machine = linux(tmp_path, odd)
    with pytest.raises(BookError, match="percent sign or bytes that are no text, which not every"):
        shortcut.add(machine)
    assert files(machine.home) == {}


@on_linux
def test_the_entry_is_valid_whatever_the_path(tmp_path: Path) -> None:
    validate = shutil.which("desktop-file-validate")
    if validate is None:
        pytest.skip("desktop-file-validate (desktop-file-utils) is missing")
    machine = linux(tmp_path, ODD)
    shortcut.add(machine)
    done = subprocess.run(
        [validate, str(machine.home / ENTRIES[0])], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@on_linux
def test_a_desktop_starts_the_window_with_the_books_that_are_dropped(tmp_path: Path) -> None:
    """GLib launches the entry as the desktops that rest on it do."""
    gio = shutil.which("gio")
    if gio is None:
        pytest.skip("gio (libglib2.0-bin) is missing")
    machine = linux(tmp_path, ODD)
    shortcut.add(machine)
    dropped = [tmp_path / "river farm.xlsx", tmp_path / "100%.xlsx"]
    for book in dropped:
        book.touch()
    given = tmp_path / ODD / "given"
    subprocess.run([gio, "launch", machine.home / ENTRIES[1], *dropped], check=True)
    end = time.monotonic() + 600
    while not (given.exists() and given.read_text().count("\n") == len(dropped)):
        assert time.monotonic() < end
        time.sleep(0.02)
    assert given.read_text().splitlines() == [str(book) for book in dropped]


@on_linux
def test_a_book_dropped_on_the_real_icon_is_judged_in_the_window(tmp_path: Path) -> None:
    """The installed command makes the icon; a desktop's launcher starts it on a screen."""
    for tool in ("gio", "xvfb-run", "xauth"):
        if not shutil.which(tool):
            pytest.skip(f"{tool} is missing")
    command = Path(sys.executable).with_name("siltbook")
    if find_spec("_tkinter") is None or not command.exists():
        pytest.skip("this Python lacks tkinter, or Siltbook's programs are not installed")
    (tmp_path / "Desktop").mkdir()
    book = Path(shutil.copy(SAMPLE, tmp_path / "river farm.xlsx"))
    ours = {**os.environ, "HOME": str(tmp_path)}
    ours = {k: v for k, v in ours.items() if not k.startswith("XDG_")}
    subprocess.run([command, "shortcut"], env=ours, check=True, capture_output=True)
    entry, made = tmp_path / "Desktop" / "siltbook.desktop", book.with_suffix(".reviewed.xlsx")
    waits = (
        f"gio launch {shlex.quote(str(entry))} {shlex.quote(str(book))}; i=0;"
        f" until [ -e {shlex.quote(str(made))} ] || [ $i -gt 600 ]; do sleep 0.1; i=$((i+1)); done"
    )
    # The window ends with its screen.
    subprocess.run(["xvfb-run", "-a", "sh", "-c", waits], env=ours, check=True, timeout=600)
    assert made.exists()


class Mac:
    """osacompile and codesign, as far as files show them."""

    def __init__(self) -> None:
        self.script = ""
        self.signed: dict[str, bytes] = {}

    def __call__(self, words: Sequence[str], more: Mapping[str, str]) -> str:
        if words[0] == "/usr/bin/osacompile":
            bundle, source = Path(words[2]), Path(words[3])
            self.script = source.read_text(encoding="utf-8")
            for name in ("MacOS/droplet", "Resources/droplet.icns", "Info.plist"):
                path = bundle / "Contents" / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(b"theirs")
            return ""
        assert words[:4] == ["/usr/bin/codesign", "--force", "--sign", "-"]
        self.signed = files(Path(words[4]))
        return ""


def mac(folder: Path) -> Machine:
    return replace(linux(folder, 'it\'s "here"'), system="darwin", run=Mac())


def test_macos_gets_an_application_that_takes_what_is_dropped(tmp_path: Path) -> None:
    machine = mac(tmp_path)
    tools = machine.run
    assert isinstance(tools, Mac)
    bundle = machine.home / "Applications" / "Siltbook.app"
    link = machine.home / "Desktop" / "Siltbook.app"
    for _ in range(2):
        said = shortcut.add(machine)
        assert said[:2] == [f"Applications: {bundle}", f"Desktop: {link}"]
        assert files(bundle) == tools.signed
        assert tools.signed["Contents/Resources/droplet.icns"] == icon.icns()
        assert os.readlink(link) == str(bundle)
    assert "on open theItems" in tools.script
    assert "quoted form of POSIX path of oneItem" in tools.script
    assert shortcut.remove(machine) == [
        f"Applications: {bundle} was removed.", f"Desktop: {link} was removed.",
    ]  # fmt: skip
    assert files(machine.home) == {}
    assert not os.path.lexists(link)


@on_linux
def test_the_shell_that_macos_starts_gets_the_program_in_one_piece(tmp_path: Path) -> None:
    """The literal in the script, read back by its language's rules, is given to a shell."""
    machine = mac(tmp_path)
    window = tmp_path / 'it\'s "here"' / "siltbook-window"
    line = next(x for x in macos.script(window).splitlines() if 'set theCommand to "' in x)
    literal = line.strip().removeprefix('set theCommand to "')[:-1]
    command = literal.replace('\\"', '"').replace("\\\\", "\\")
    subprocess.run(["sh", "-c", f"{command} 'a b.xlsx'"], check=True)
    assert (window.parent / "given").read_text() == "a b.xlsx\n"
    assert machine.system == "darwin"


def test_an_application_of_another_on_macos_is_left_alone(tmp_path: Path) -> None:
    machine = mac(tmp_path)
    theirs = machine.home / "Applications" / "Siltbook.app" / "Contents" / "Info.plist"
    theirs.parent.mkdir(parents=True)
    theirs.write_bytes(b"theirs")
    with pytest.raises(BookError, match="so nothing was changed"):
        shortcut.add(machine)
    assert set(files(machine.home)) == {"Applications/Siltbook.app/Contents/Info.plist"}


class Powershell:
    """What the two scripts do, as far as files show it."""

    def __init__(self, *folders: Path) -> None:
        self.folders = folders
        self.asked: list[Mapping[str, str]] = []

    def __call__(self, words: Sequence[str], more: Mapping[str, str]) -> str:
        assert words[0].endswith("powershell.exe")
        assert '"' not in words[-1], "a quotation mark does not reach the script"
        if words[-1] == windows.FOLDERS:
            return "\r\n".join(base64.b64encode(str(f).encode()).decode() for f in self.folders)
        assert words[-1] == windows.WRITE
        self.asked.append(more)
        described = more["SILTBOOK_MARK"].encode("utf-16-le")
        Path(more["SILTBOOK_LINK"]).write_bytes(b"L\0\0\0\x01\x14\x02" + described)
        return ""


def pc(folder: Path) -> Machine:
    machine = linux(folder)
    window = folder / "programs" / "siltbook-window"
    window.rename(window.with_suffix(".exe"))
    tools = Powershell(folder / "Start menu é漢", machine.home / "Synced" / "Desktop")
    kept = {"SystemRoot": r"C:\Windows", "LOCALAPPDATA": str(folder / "local")}
    return replace(machine, system="win32", environment=kept, run=tools)


def test_windows_gets_shortcuts_where_its_own_folders_are(tmp_path: Path) -> None:
    machine = pc(tmp_path)
    tools = machine.run
    assert isinstance(tools, Powershell)
    links = [folder / "Siltbook.lnk" for folder in tools.folders]
    assert shortcut.add(machine)[:2] == [f"Start menu: {links[0]}", f"Desktop: {links[1]}"]
    picture = tmp_path / "local" / "siltbook" / "siltbook.ico"
    assert picture.read_bytes() == icon.ico()
    assert [Path(one["SILTBOOK_LINK"]) for one in tools.asked] == links
    assert {one["SILTBOOK_PROGRAM"] for one in tools.asked} == {
        str(tmp_path / "programs" / "siltbook-window.exe")
    }
    shortcut.add(machine)
    named = [f"Picture: {picture}", f"Start menu: {links[0]}", f"Desktop: {links[1]}"]
    assert shortcut.remove(machine) == [f"{one} was removed." for one in named]
    links[1].write_bytes(b"L\0\0\0 somebody's")
    with pytest.raises(BookError, match="so nothing was changed"):
        shortcut.add(machine)
    assert links[1].read_bytes() == b"L\0\0\0 somebody's"
    assert not links[0].exists()


def test_windows_that_does_not_say_where_its_folders_are_is_one_sentence(tmp_path: Path) -> None:
    machine = replace(pc(tmp_path), run=lambda words, more: "")
    with pytest.raises(BookError, match="did not say where your desktop and your start menu are"):
        shortcut.add(machine)


def test_a_tool_that_refuses_or_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(BookError, match=r"sh refused: it is not allowed\Z"):
        run(["/bin/sh", "-c", "echo it is; echo not allowed; exit 3"], {})
    with pytest.raises(BookError, match="osacompile: could not be started"):
        run([str(tmp_path / "osacompile")], {})


def test_the_command_says_what_it_did(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    machine = linux(tmp_path)
    monkeypatch.setattr(machines, "this_machine", lambda: machine)
    monkeypatch.setitem(sys.modules, "_tkinter", sys)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: object())
    done = CliRunner().invoke(main, ["shortcut"])
    assert (done.exit_code, done.output.count("\n")) == (0, 4)
    assert f"Menu: {machine.home / ENTRIES[0]}\n" in done.output
    done = CliRunner().invoke(main, ["shortcut", "--remove"])
    assert (done.exit_code, done.output.count("was removed.\n")) == (0, 3)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    done = CliRunner().invoke(main, ["shortcut"])
    assert done.exit_code == 3
    assert "siltbook: No icon was made: this Python lacks tkinter" in done.output
    assert files(machine.home) == {}
