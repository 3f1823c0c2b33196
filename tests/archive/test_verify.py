"""Tampering with any byte is found and named."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook import __version__
from siltbook.batch.archive import manifest
from siltbook.batch.archive.folder import Season
from siltbook.batch.archive.verify import verify
from siltbook.batch.cli import main
from tests.archive.conftest import PORTFOLIO
from tests.archive.forging import redescribe, reseal


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def flip(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 0x01
    path.write_bytes(bytes(data))


def test_an_untouched_archive_is_whole(kept: Path, east: Season) -> None:
    found = verify(kept / "east-2026", east.seal.upper())
    assert (found.troubles, found.notes) == ((), ())
    assert (found.seal, found.files) == (east.seal, len(east.files) - 1)


def test_one_changed_byte_in_any_file_is_named(archive: Path, east: Season) -> None:
    for name in sorted({*east.files} - {manifest.NAME}):
        path = archive / name
        for at in (0, len(east.files[name]) // 2, len(east.files[name]) - 1):
            flip(path, at)
            found = verify(archive, judge_again=False).troubles
            said = f"{name}: changed (its SHA-256 is not the one in the manifest)."
            assert found == (said,)
            flip(path, at)
    assert verify(archive).troubles == ()


def test_one_changed_byte_in_the_manifest_is_named(archive: Path, east: Season) -> None:
    path = archive / manifest.NAME
    size = len(east.files[manifest.NAME])
    for at in range(0, size, 37):
        flip(path, at)
        found = verify(archive, judge_again=False).troubles
        assert found, at
        assert found[0].startswith("manifest.json: it "), at
        flip(path, at)


def test_a_file_missing_added_or_replaced_by_a_link(archive: Path) -> None:
    (archive / "data" / "runs.csv").unlink()
    (archive / "data" / "more.csv").write_text("a\r\n")
    (archive / "verdicts.json").rename(archive / "kept.json")
    os.symlink(archive / "kept.json", archive / "verdicts.json")
    assert verify(archive, judge_again=False).troubles == (
        "data/runs.csv: missing.",
        "verdicts.json: a symbolic link, which is not followed.",
        "data/more.csv: not part of the archive (it was added later).",
        "kept.json: not part of the archive (it was added later).",
    )


@pytest.mark.at_length(keep="readings")
@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("data/readings.csv", b"2026-04-06", b"2026-04-07"),
        ("data/drops.csv", b"true", b"false"),
        ("READ-ME-FIRST.txt", b"workbook as it was", b"workbook as I like"),
    ],
)
def test_a_forgery_with_a_manifest_made_to_fit_is_found_by_judging_again(
    archive: Path, name: str, old: bytes, new: bytes
) -> None:
    path = archive / name
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new, 1))
    reseal(archive)
    again = f"{name}: differs from what the workbook gives when it is judged again."
    assert again in verify(archive).troubles


def test_a_forged_verdict_is_named_with_its_station(archive: Path) -> None:
    path = archive / "verdicts.json"
    document = json.loads(path.read_bytes())
    station = document["stations"][0]
    true, station["verdict"] = station["verdict"], "resting"
    path.write_bytes(manifest.as_json(document))
    reseal(archive)
    said = f"verdicts.json: {station['station']}: resting in the archive, {true} when judged again."
    found = verify(archive).troubles
    assert said in found
    assert "verdicts.json: differs from what the workbook gives when it is judged again." in found


@pytest.mark.at_length  # test_the_command_says_whole prints the seal
def test_another_workbook_with_everything_made_anew_is_found_by_the_seal_alone(
    tmp_path: Path, east: Season
) -> None:
    from siltbook.batch.archive.folder import put, season

    put(season((PORTFOLIO / "east-2025.xlsx").read_bytes(), "east-2026.xlsx").files, tmp_path / "x")
    assert verify(tmp_path / "x").troubles == ()
    found = verify(tmp_path / "x", east.seal)
    assert found.troubles == (
        f"the seal is {found.seal}, not the one that was kept: the archive was made anew.",
    )


def test_a_table_that_breaks_its_own_descriptor_is_not_valid(archive: Path) -> None:
    path = archive / "data" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"2026-04-06", b"06 April  ", 1))
    redescribe(archive)
    said = [t for t in verify(archive, judge_again=False).troubles if "Data Package" in t]
    assert said
    assert said[0].startswith("data/readings.csv: not valid by the Data Package standard:")


@pytest.mark.parametrize("name", ["../x.xlsx", "/etc/passwd", "a//b", "c:\\x", "./x"])
def test_a_manifest_may_not_name_files_outside(name: str) -> None:
    listed = manifest.Manifest("1", "b.xlsx", None, {"b.xlsx": "0", name: "0"})
    with pytest.raises(manifest.ManifestError, match="names files outside the archive"):
        manifest.read(manifest.write(listed))


@pytest.mark.parametrize("data", [b"", b"[]", b"{}", b"\xff\xfe", b"[" * 100_000, b'{"files": 3}'])
def test_what_is_no_manifest(data: bytes) -> None:
    with pytest.raises(manifest.ManifestError, match="not a manifest that this program wrote"):
        manifest.read(data)


def test_a_book_archived_by_another_version_is_compared_by_its_verdicts(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("siltbook.batch.archive.rebuild.__version__", "99.0")
    found = verify(archive)
    assert found.troubles == ()
    assert found.notes == (
        f"made by siltbook {__version__}, checked by 99.0: of the files that can be made again "
        "only the verdicts were compared.",
    )


def test_the_command_says_whole_and_exits_0(kept: Path, east: Season) -> None:
    said = siltbook("verify", kept)
    assert said.exit_code == 0, said.output
    assert f"{kept / 'east-2025'}: whole and unchanged; 18 files" in said.stdout
    line = f"{kept / 'east-2026'}: whole and unchanged; 18 files"
    assert f"{line}\n  Seal: {east.seal}" in said.stdout


@pytest.mark.at_length  # test_whole_folders.py does so for several
def test_the_command_names_the_trouble_and_exits_1(archive: Path) -> None:
    flip(archive / "season-summary.pdf", 100)
    said = siltbook("verify", archive)
    assert said.exit_code == 1
    assert f"{archive}: NOT as it was archived" in said.stdout
    assert "  season-summary.pdf: changed (its SHA-256" in said.stdout
    document = json.loads(siltbook("verify", archive, "--json").stdout)["archives"][0]
    assert (document["whole"], len(document["troubles"])) == (False, 1)


def test_a_folder_without_an_archive_is_refused(tmp_path: Path) -> None:
    said = siltbook("verify", tmp_path)
    assert said.exit_code == 3
    assert said.stderr == (
        f"siltbook: {tmp_path}: holds no archive (no manifest.json in it or in a folder of it). "
        "Name the folder that 'siltbook archive' wrote.\n"
    )
    assert siltbook("verify", tmp_path / "none").exit_code == 3


def test_one_seal_for_several_archives_is_refused(kept: Path, east: Season) -> None:
    said = siltbook("verify", kept, "--seal", east.seal)
    assert said.exit_code == 3
    assert "a seal is of one archive, and here are 2." in said.stderr


def test_a_manifest_beyond_all_measure_is_not_parsed() -> None:
    with pytest.raises(manifest.ManifestError, match="larger than any manifest"):
        manifest.read(b" " * (manifest.LARGEST + 1))


def test_a_manifest_with_half_a_character_is_none() -> None:
    data = b'{"files": [], "made_by": "\\ud800", "book": "b.xlsx", "as_of": null}'
    with pytest.raises(manifest.ManifestError, match="not a manifest"):
        manifest.read(data)
