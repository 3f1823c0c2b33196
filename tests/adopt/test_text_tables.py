"""Text tables: no reading goes to another station, into a remark, or to another number unseen."""

from __future__ import annotations

from pathlib import Path

import pytest

from siltbook.batch.adopt.encodings import decoded
from siltbook.batch.adopt.harvest import harvest
from siltbook.batch.adopt.job import Source, grids_of, look
from siltbook.batch.adopt.model import Harvest
from siltbook.batch.adopt.study import questions, study, use_answers
from siltbook.batch.errors import BookError

HEAD = "Station;Date;Inlet (bar);Outlet (bar);Notes\n"
ROWS = "".join(f"{{0}};2026-06-0{n};3,1;2,8;\n" for n in range(1, 4))


def told(data: bytes) -> list[dict[str, object]]:
    return look([Source(Path("own.csv"), data)]).rows.readings


@pytest.mark.parametrize(
    ("name", "encoding"),
    [
        ("Río Ñ", "cp1252"), ("Größe 3", "cp1252"), ("São João", "cp850"), ("Größe", "mac_roman"),
        ("Źródło", "cp1250"), ("Поле 1", "cp1251"), ("Βορράς", "cp1253"),
    ],
)  # fmt: skip
def test_a_name_in_an_older_encoding_is_read_as_it_was_written(name: str, encoding: str) -> None:
    """Of a short table the first was read as RÝo Ð: another station, and nobody was told."""
    text, said = decoded((HEAD + ROWS.format(name)).encode(encoding), "own.csv")
    assert name in text
    assert f"own.csv is not in UTF-8 and was read as {encoding}, by what the letters" in said
    assert f"'{name.split()[0]}'" in said


def test_an_encoding_that_known_words_settle_is_not_told() -> None:
    head = "Estación;Fecha;Presión entrada (bar);Presión salida (bar)\n"
    for encoding in ("cp1252", "mac_roman", "cp850"):
        text, said = decoded((head + ROWS.format("Pozo 1")).encode(encoding), "own.csv")
        assert text.startswith("Estación;Fecha;Presión")
        assert said == ""


@pytest.mark.parametrize("odd", ["añejo".encode("cp1252"), "añ".encode()[:-1]])
def test_one_odd_byte_leaves_the_names_of_a_text_in_utf8(odd: bytes) -> None:
    """All its names were read as RÃ­o, another station."""
    text, said = decoded((HEAD + ROWS.format("Río Ñ")).encode() + odd, "own.csv")
    assert text.count("Río Ñ;") == 3
    assert said.startswith("own.csv is in UTF-8 in part, and the rest was read as cp1252")


def test_bytes_of_nothing_amid_a_number_make_it_unreadable() -> None:
    """3,1 and 5 became 3,15, and 2, became 2."""
    long = HEAD + "".join(f"North;2026-0{m};3,12;2,95;{'x' * 40}\n" for m in ("5-01",) * 90)
    data = long.encode() + b"North;2026-06-01;3,1\x005;2,\x00\x00;\n"
    last = told(data)[-1]
    assert ("inlet" in last, "outlet" in last) == (False, False)
    assert last["remark"] == "inlet: '3,1\ufffd5'; outlet: '2,\ufffd'"


def test_a_quotation_mark_that_nobody_closed_takes_no_rows_with_it() -> None:
    """Two readings stood in the remark of a third, and the station was In range by that."""
    rows = "North;2026-06-02;3,1;2,4;\nNorth;2026-06-03;3,1;2,4;\n"
    data = f'{HEAD}North;2026-06-01;3,1;2,8;"odd\n{rows}'
    with pytest.raises(BookError) as refused:
        told(data.encode())
    assert str(refused.value) == (
        "own.csv, line 2: a quotation mark opens a cell that runs on over what looks like rows of"
        " their own ('North;2026-06-02;3,1;2,4;'): close the mark, or take it away, and run again;"
        " nothing was changed."
    )
    note = HEAD + 'North;2026-06-01;3,1;2,8;"two\nlines; here"\nNorth;2026-06-02;3,1;2,4;2" pipe\n'
    assert [r["remark"] for r in told(note.encode())] == ["two; lines; here", '2" pipe']


def test_one_row_with_commas_in_its_numbers_is_refused() -> None:
    """3,1 and 2,4 were 3 and 1."""
    head = "Station,Date,Inlet (bar),Outlet (bar),Notes\nNorth,2026-06-01,3.1,2.8,\n"
    with pytest.raises(BookError, match=r"own\.csv, line 3: 6 cells under 5 headers, as"):
        told(f"{head}North,2026-06-02,3,1,2,4\n".encode())
    assert len(told(f"{head}North,2026-06-02,3,2,windy,dry\n".encode())) == 2


@pytest.mark.parametrize(
    ("answer", "numbers"),
    [("a decimal mark", [3.125, 2.812]), ("parts thousands", [3125.0, 2812.0])],
)
def test_a_mark_that_may_part_decimals_or_thousands_is_asked_about(
    answer: str, numbers: list[float]
) -> None:
    """Its column was no numbers, and whatever was answered, no reading could be used."""
    data = b"Station;Date;Inlet (kPa);Outlet (kPa)\nNorth;2026-06-01;3,125;2,812\n"
    made = study(grids_of([Source(Path("own.csv"), data)]))
    (asked,) = (q for q in questions(made) if q.about == "T1 decimal mark")
    assert asked.text == "Is the comma in '3,125' a decimal mark, or does it part thousands?"
    assert answer in asked.choices
    made.answers["T1 decimal mark"] = answer
    use_answers(made)
    rows = Harvest()
    harvest(made.tables[0], rows)
    (reading,) = rows.readings
    assert [getattr(reading[key], "value", None) for key in ("inlet", "outlet")] == numbers


def test_a_mark_that_another_number_settles_is_not_asked_about() -> None:
    data = b"Station;Date;Inlet (bar);Outlet (bar)\nNorth;2026-06-01;3,125;2,81\n"
    made = study(grids_of([Source(Path("own.csv"), data)]))
    assert questions(made) == []
