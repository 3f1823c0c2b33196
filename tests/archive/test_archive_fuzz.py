"""Whatever stands in an archive's documents and tables: a sentence, and never another exception.

More examples with `SILTBOOK_FUZZ=5000 pytest -n 0 tests/archive/test_archive_fuzz.py`.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from siltbook.batch.archive import manifest, rebuild, standard
from siltbook.batch.archive.folder import PACKAGE, VERDICTS, Season
from siltbook.batch.archive.strict_json import StrictError, parse_strict_json
from tests.reading.test_fuzz import FUZZ

ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12)
    | st.sampled_from(["", "data/farm.csv", "../x", "http://example.invalid", 10**50]),
    lambda held: st.lists(held, max_size=3) | st.dictionaries(st.text(max_size=6), held),
    max_leaves=6,
)  # fmt: skip


def changed(document: Any, draw: st.DataObject) -> bytes:
    """The document with one thing in it, at any depth, become another, gone, or doubled."""
    made = copy.deepcopy(document)
    at = made
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        key = draw.draw(st.sampled_from(keys))
        below = at[key]
        if not isinstance(below, dict | list) or not below or draw.draw(st.integers(0, 4)) == 0:
            break
        at = below
    deed = draw.draw(st.sampled_from(["set", "set", "set", "drop", "add"]))
    if deed == "drop":
        del at[key]
    elif deed == "add" and isinstance(at, dict):
        at[draw.draw(st.text(max_size=6))] = draw.draw(ANY)
    elif deed == "add":
        at.append(draw.draw(st.just(below) | ANY))
    else:
        at[key] = draw.draw(ANY)
    return json.dumps(made, indent=2, sort_keys=True, ensure_ascii=False).encode(
        "utf-8", "surrogatepass"
    )


def outcome(kind: type[Exception], call: Callable[[], Any]) -> tuple[Any, str]:
    """What a call gives, or the sentence of its refusal; any other exception ends the test."""
    try:
        return call(), ""
    except kind as error:
        return None, str(error)


@FUZZ
@given(st.data())
def test_any_change_to_a_manifest(east: Season, data: st.DataObject) -> None:
    document = json.loads(east.files[manifest.NAME])
    made = changed(document, data)
    found, said = outcome(manifest.ManifestError, lambda: manifest.read(made))
    assert "\n" not in said
    assert found is None or manifest.write(found) == made


@FUZZ
@given(st.data())
def test_any_change_to_a_descriptor(east: Season, data: st.DataObject) -> None:
    listed = manifest.read(east.files[manifest.NAME])
    sizes = {name: len(held) for name, held in east.files.items()}
    made = changed(json.loads(east.files[PACKAGE]), data)
    safe, refusal = outcome(standard.DescriptorError, lambda: standard.checked(made, listed, sizes))
    if safe is None:
        assert refusal.endswith(".")
        assert len(refusal) < 600
        return
    table = data.draw(st.sampled_from(safe))
    said = list(standard.troubles(east.files[table["path"]], table))
    assert all(one.startswith(table["path"]) for one in said)


@FUZZ
@given(st.data())
def test_any_change_to_a_table(east: Season, data: st.DataObject) -> None:
    listed = manifest.read(east.files[manifest.NAME])
    sizes = {name: len(held) for name, held in east.files.items()}
    table = data.draw(st.sampled_from(standard.checked(east.files[PACKAGE], listed, sizes)))
    lines = east.files[table["path"]].split(b"\r\n")
    bits = st.binary(max_size=6) | st.sampled_from([b'"', b",", b"\r\n", b"\xff", b"1e999", b"nan"])
    at = data.draw(st.integers(0, len(lines) - 1))
    cut = data.draw(st.integers(0, len(lines[at])))
    skip = data.draw(st.integers(0, 3))
    lines[at] = lines[at][:cut] + data.draw(bits) + lines[at][cut + skip :]
    for one in standard.troubles(b"\r\n".join(lines), table):
        assert one.startswith(f"{table['path']}: not valid by the Data Package standard: ")
        assert "could not be read" not in one, one


@FUZZ
@given(st.data())
def test_any_change_to_the_verdicts(east: Season, data: st.DataObject) -> None:
    honest = east.files[VERDICTS]
    made = changed(json.loads(honest), data)
    said = list(rebuild._verdicts(honest, {VERDICTS: len(made)}, lambda _: made))
    assert all(one.startswith(f"{VERDICTS}: ") for one in said)


@FUZZ
@given(st.binary(max_size=200), st.integers(0, 10**9), st.integers(0, 40))
def test_any_change_to_the_stored_workbook(east: Season, bits: bytes, at: int, skip: int) -> None:
    """It is the same, or it differs; and text is compared whatever it is."""
    made = east.files["east-2026.reviewed.xlsx"]
    cut = at % len(made)
    rebuild.same_book(made[:cut] + bits + made[cut + skip :], made)
    assert rebuild.alike(bits, bits)


@FUZZ
@given(st.binary(max_size=60) | st.text("[]{},:\"'0123456789.eE-+NaInfity \\u", max_size=60))
def test_any_bytes_as_a_document(data: bytes | str) -> None:
    made = data if isinstance(data, bytes) else data.encode()
    _, said = outcome(StrictError, lambda: parse_strict_json(made, 1_000, 1_000))
    assert not said or said.startswith("it ")
