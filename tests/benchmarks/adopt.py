"""How well adopt understands tables as people keep them: a seeded set, and public files.

`python -m tests.benchmarks.adopt [SEED]` prints the table of docs/adopt.md. Seed 1 is the one that
the rules were tuned on; seed 2 was never looked at while they were made.
"""

from __future__ import annotations

import datetime as dt
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sample_workbooks.as_kept import LAYOUTS, WORDS, Kept, Style, as_csv, as_xlsx, keep
from siltbook.batch.adopt.job import Source, grids_of
from siltbook.batch.adopt.model import ASK, MEASURED
from siltbook.batch.adopt.study import Study, asked_columns, questions, study
from siltbook.batch.errors import SiltbookError

TUNED, UNSEEN = 1, 2
TABLES = 96
CORPORA = Path(__file__).resolve().parents[3] / "shared" / "corpora"
_SCALE = {"bar": 1.0, "kPa": 100.0, "psi": 14.5, "m": 10.2, "kgf/cm2": 1.02}
_NAMES = (
    ("North 1", "North 2", "South"), ("S1", "S2", "S3", "S4"), ("F-01", "F-02"),
    ("Hill", "River", "Gate", "Old well"), ("Block A", "Block B", "Block C"),
    ("Filter 1", "Filter 2"), ("Field 1", "Field 2", "Field 3"), ("Well head", "Day tank"),
    ("Gate of the canal", "Old pump"), ("1 North", "2 South", "3 East"), ("Low station", "P2 line"),
)  # fmt: skip
_NOTES = {
    "en": ("flushed 3x, no click", "cleaned screen", "windy", "called service"),
    "es": ("lavado 3 veces", "limpieza de malla", "mucho viento", "solenoide nuevo"),
    "pt": ("lavagem 3 vezes, sem clique", "limpeza manual", "vento", "malha nova"),
    "fr": ("rincé 3 fois", "nettoyé", "beaucoup de vent", "nouveau solénoïde"),
    "it": ("spurgo 3 volte", "pulizia rete", "vento", "chiamato assistenza"),
    "de": ("gespült 3x, kein Klick", "Sieb gereinigt", "windig", "neue Magnetspule"),
}
# Headers that a person may write instead; the generator puts them in for some tables.
_OTHERS = {
    "en": {"Inlet": ("P in", "Upstream", "Inlt pressure"),
           "Outlet": ("P out", "Downstream", "Outlett pressure")},
    "es": {"Presión entrada": ("Entrada", "P. entrada", "PRESION DE ENTRADA"),
           "Presión salida": ("Salida", "P. salida", "PRESION DE SALIDA")},
    "pt": {"Pressão entrada": ("Entrada", "Pressão de entrada", "Montante"),
           "Pressão saída": ("Saída", "Pressão de saída", "Jusante")},
    "fr": {"Pression amont": ("Amont", "Entrée", "Pression d'entrée"),
           "Pression aval": ("Aval", "Sortie", "Pression de sortie")},
    "it": {"Pressione ingresso": ("Ingresso", "Entrata", "Pressione a monte"),
           "Pressione uscita": ("Uscita", "Uscita filtro", "Pressione a valle")},
    "de": {"Druck vor Filter": ("Eingang", "Eingangsdruck", "Vordruck"),
           "Druck nach Filter": ("Ausgang", "Ausgangsdruck", "Nachdruck")},
}  # fmt: skip


@dataclass
class Score:
    """Columns by what became of them."""

    tables: int = 0
    right: int = 0
    asked: int = 0
    wrong: list[str] = field(default_factory=list)

    @property
    def columns(self) -> int:
        return self.right + self.asked + len(self.wrong)


def make(seed: int, count: int = TABLES) -> Iterator[tuple[str, bytes, Kept]]:
    """Tables in every layout; language, unit, dates, marks, junk and notes by chance."""
    rng = random.Random(seed)
    for n in range(count):
        language = rng.choice(sorted(WORDS))
        style = Style(
            LAYOUTS[n % len(LAYOUTS)], language, rng.choice(sorted(_SCALE)),
            rng.choice(("cell", "iso", "dmy", "mdy", "named")),
            rng.choices(("bracket", "row", "title", "nowhere"), (70, 15, 9, 6))[0],
            rng.choice(("", "", ".", ",")), rng.random() < 0.5, rng.random() < 0.4,
            rng.random() < 0.3, rng.random() < 0.2,
        )  # fmt: skip
        kept = keep(_season(rng, style), style)
        _other_words(rng, kept)
        _odd_ways(rng, kept)
        if rng.random() < 0.4 and len(kept.sheets) == 1 and style.dates != "cell":
            encoding = rng.choice(("utf-8", "utf-8-sig", "cp1252", "utf-16"))
            sign = ";" if style.texts == "," else rng.choice(",;\t")
            yield f"table-{n}.csv", as_csv(kept, sign, encoding), kept
        else:
            yield f"table-{n}.xlsx", as_xlsx(kept), kept


def _season(rng: random.Random, style: Style) -> list[dict[str, Any]]:
    names = rng.choice(_NAMES)
    start = dt.date(2026, rng.randint(2, 8), rng.randint(1, 28))
    scale, notes = _SCALE[style.unit], _NOTES[style.language]
    flowing = rng.random() < 0.3
    rows: list[dict[str, Any]] = []
    for week in range(rng.randint(5, 12)):
        for name in names:
            inlet = rng.uniform(2.2, 3.6)
            outlet = inlet - rng.uniform(0.05, 0.6)
            rows.append({
                "station": name, "date": start + dt.timedelta(days=7 * week),
                "inlet": round(inlet * scale, 2), "outlet": round(outlet * scale, 2),
                "flow": round(rng.uniform(20, 60), 1) if flowing else None,
                "remark": rng.choice(notes) if rng.random() < 0.3 else None, "read_by": "Reader A",
                "time": dt.time(rng.randint(6, 11), 15) if style.times else None,
            })  # fmt: skip
    return rows


def _other_words(rng: random.Random, kept: Kept) -> None:
    """Other headers for the same thing, in half of the tables."""
    others = _OTHERS[kept.style.language]
    if rng.random() < 0.5:
        return
    chosen = rng.randrange(3)
    for rows in kept.sheets.values():
        for row in rows:
            for i, value in enumerate(row):
                if isinstance(value, str):
                    for word, instead in others.items():
                        if word in value:
                            row[i] = value.replace(word, instead[chosen])


_NO_TOP = ("blocks", "sections", "side by side", "drop wide", "dates across")


def _odd_ways(rng: random.Random, kept: Kept) -> None:
    """Headers in capitals, spans that were never merged, an empty column, a sentence on top."""
    capitals, unmerged, gap, says = (rng.random() < chance for chance in (0.2, 0.5, 0.25, 0.2))
    names = {t[2] for t in kept.truth.values()}
    if unmerged:
        kept.merged.clear()
    for sheet, rows in kept.sheets.items():
        if capitals:
            top = next(i for i, r in enumerate(rows) if len(r) > 2)
            rows[top] = (
                [v.upper() if isinstance(v, str) and v not in names else v for v in rows[top]]
                if kept.style.layout in ("list", "mixed", "drop list", "sheet per station")
                else rows[top]
            )
        if gap and kept.style.layout in ("list", "mixed", "sheet per station", "wide one header"):
            _insert(kept, sheet, 2)
        if says and kept.style.layout not in _NO_TOP:
            rows[:0] = [["Please do not delete: read every Monday, see the notes at the end."], []]
            moved = [(a + 2, b, c + 2, d) for a, b, c, d in kept.merged.get(sheet, ())]
            kept.merged[sheet] = moved


def _insert(kept: Kept, sheet: str, at: int) -> None:
    """An empty column; what stood there and behind it moves to the right."""
    for row in kept.sheets[sheet]:
        if len(row) > at:
            row.insert(at, None)
    moved = {
        (s, i + 1 if s == sheet and i >= at else i): told for (s, i), told in kept.truth.items()
    }
    kept.truth.clear()
    kept.truth.update(moved)


def score(name: str, data: bytes, kept: Kept, total: Score) -> None:
    """Compare what was understood with what is so, column by column."""
    made = study(grids_of([Source(Path(name), data)]))
    total.tables += 1
    waiting = _waiting(made)
    seen = set()
    for form in made.forms:
        for table in form.tables:
            for column in table.columns:
                sheet = table.grid.sheet or next(iter(kept.sheets))
                truth = kept.truth.get((sheet, column.index))
                seen.add((sheet, column.index))
                _count(name, column, truth, waiting, form.key, total)
    total.wrong += [f"{name}: {at} was not seen" for at in set(kept.truth) - seen]


def _waiting(made: Study) -> set[str]:
    return {q.about for q in questions(made)}


def _count(
    name: str,
    column: Any,
    truth: tuple[str, str, str] | None,
    waiting: set[str],
    key: str,
    total: Score,
) -> None:
    about = {f"{key}.{column.letters} taken for", f"{key}.{column.letters} unit", f"{key} sides"}
    dated = column.role in ("date", "date and time") and f"{key} date order" in waiting
    unit = "flow unit" if column.role == "flow" else "pressure unit"
    lacking = column.role in (*MEASURED, ASK) and not column.unit and unit in waiting
    if column.role == ASK or about & waiting or dated or lacking:
        total.asked += 1
        return
    wanted = truth or ("leave out", "", "")
    got = (column.role, column.unit if column.role in MEASURED else "", column.station)
    if got == wanted:
        total.right += 1
    else:
        total.wrong.append(f"{name}: column {column.letters} '{column.header}': {got}, is {wanted}")


def seeded(seed: int, count: int = TABLES) -> Score:
    """The score of one seeded set."""
    total = Score()
    for name, data, kept in make(seed, count):
        score(name, data, kept, total)
    return total


def public(every: int = 1) -> dict[str, str]:
    """What becomes of each public file that opens: not filter readings, or asked.

    `every`: of each so many files that are not large, one is taken.
    """
    found: dict[str, str] = {}
    kinds = (".xlsx", ".xlsm", ".ods", ".xls")
    paths = sorted(path for path in CORPORA.rglob("*") if path.suffix.lower() in kinds)
    for path in [path for path in paths if path.stat().st_size <= 300_000][::every]:
        try:
            made = study(grids_of([Source(path, path.read_bytes())]))
        except SiltbookError:
            continue
        asked = asked_columns(questions(made))
        name = str(path.relative_to(CORPORA))
        mapped = f"asked about {asked} columns" if asked else "mapped without a question"
        found[name] = mapped if made.forms else "not readings"
    return found


def main() -> None:
    """Print the figures of both seeds, or of the one given with what went wrong."""
    seeds = [int(sys.argv[1])] if len(sys.argv) > 1 else [TUNED, UNSEEN]
    for seed in seeds:
        s = seeded(seed)
        print(
            f"seed {seed}: {s.tables} tables, {s.columns} columns: right"
            f" {s.right / s.columns:.1%}, "
            f"asked {s.asked / s.columns:.1%}, wrong {len(s.wrong)}"
        )
        print(*(s.wrong if len(sys.argv) > 1 else ()), sep="\n")
    if CORPORA.is_dir() and len(sys.argv) == 1:
        became = list(public().values())
        print({what: became.count(what) for what in dict.fromkeys(became)})


if __name__ == "__main__":
    main()
