"""Which modules are mutated, and which tests are asked about them."""

from __future__ import annotations

from dataclasses import dataclass

# '|' stands in annotations mostly, and a decorator that goes is mostly a cache: neither change is a
# fault that a test could see.
LEFT_OUT = ("BitOr", "RemoveDecorator")


# Changed lines that mean what they meant before, each with the reason: no test can see them.
EQUIVALENT = {
    # Codes behind it: 'gear-in-time' never comes here, and 'read-after' is met by any reading.
    'if need.code < "flush-in-a-day" or _taken_back(asking, ended, division):',
    # A forecast has both days or neither; the second condition is for the types.
    "if expected is None or expected.date is None and expected.low is None:",
    # Text enums compare as texts: no step comes behind 'needs hand cleaning'.
    "(Verdict.HAND_CLEAN, at.step >= Step.NEEDS_CLEANING),",
    # A reading that is not taken for calm goes the long way, to the same place.
    "if not drop is None or reading.why_unusable or is_over(drop, limit):",
    "if drop is not None or reading.why_unusable or is_over(drop, limit):",
    # Of a station that is looked at more closely no more is found.
    "far = (abs(steps[begins]) is not BREAK) | (abs(steps[np.maximum(ends - 2, 0)]) > BREAK)",
    # A member of an enum is equal to itself alone.
    "elif verdict != Verdict.CHECK_FIELD:",
    "if facts.as_of is None or verdict == Verdict.RESTING:",
    # Text enums compare as texts: nothing comes behind 'trusted'.
    "if standing.gear >= Gear.TRUSTED:",
    # Text enums compare as texts: 'check-field' is the first of the verdicts.
    "elif verdict > Verdict.CHECK_FIELD:",
    # A member of an enum is equal to itself alone.
    "replaced=(controller or solenoid) if gear == Gear.AWAITS_PROOF else None,",
    # The first two days of the calendar are of one year.
    "first, last = (dt.date.fromordinal(min(max( 2, at), latest)).year for at in (before, after))",
    # The readings are in order: none before it is of a later day.
    "highest = max(inlet, own[-1][3]) if own and own[-1][0] >= day else inlet",
    # A member of an enum is equal to itself alone.
    "if sheet is READINGS and column.kind == Kind.FLOW:",
    # Small whole numbers are one object each.
    "if entry.method is zipfile.ZIP_STORED:",
    # Levels of packing: another size, the same content.
    "return zlib.compressobj( 5, zlib.DEFLATED, -zlib.MAX_WBITS)",
    "return zlib.compressobj( 7, zlib.DEFLATED, -zlib.MAX_WBITS)",
    "_LEVEL = 1",
    "_LEVEL = 3",
    # How much is looked at first changes the time alone: what is not told by it is read whole.
    "_HEAD = 65535",
    "_HEAD = 65537",
    # Of two marks the other one, '.~lock.', comes before it.
    'f" whose name lacks the {mark}" + ("." if mark >= "~$" else " and the # at its end.")',
    # Of three names the others, 's' and 'style', come behind it.
    '(self.dxfs if name <= b"dxfId" else self.cellXfs).add(int(number))',
    # A part is never longer than the whole; where it is all, the other direction keeps no more.
    "if len(kept) is not len(days):  # or it is written with the newest on top",
    "if len(kept) != len(days):  # or it is written with the newest on top",
    # A piece of the bytes is never longer than what was asked for.
    'if len(head) != _LOCAL.size or head[:4] != b"PK\\x03\\x04":',
    "if len(raw) < info.compress_size:",
    # How much is remembered changes the time it takes alone.
    "@lru_cache(maxsize=FEW - 1)",
    # An entry refers to one named style.
    """result.append(pool.index(new if named else new.replace(' xfId="0"', "", 2)))""",
    # Nothing assigns to a field: mypy would say so first.
    "@dataclass(frozen=False)",
    # The axis has one place, which is the first and the last.
    "line = np.asarray(np.linalg.solve(days.normal, right[:, :, None]), dtype=np.float64)"
    "[:, :, -1]",
    # ~n is -n - 1: the order is the same.
    "ordered = sorted(found.items(), key=lambda item: ~len(item[1]))",
    # pandas inverts a series of truths by either sign.
    "run = (-same).cumsum()",
    # A day is at least itself; no day (NaT) is neither equal to itself nor more.
    """when = f" on {joined.shown.day(last['day'])}" if last["day"] >= last["day"] else \"\"""",
    # No division is 0; one that is not known (NaN) gives no known chance either.
    "if len(steps) < ENOUGH_STEPS or not division != 0:",
    # Twice a truth and a truth share no bit.
    "return 2 * (one.due == other.due) ^ (name_key(one.who) == name_key(other.who))",
    # Where fewer than ten days are shared, no station has ten of them: none is left a line later.
    "if shared.sum() is COMMON_DAYS:",
    # No division is negative, and a metre is more than none.
    "slack = max(STANDING, 2 * track.division if track.division > -1 else 0.0)",
    # Shorter stretches that come along are left out by who asks for them.
    "return [(int(a), int(b)) for a, b in edges.reshape(-1, 2) if b << a >= LEAST_BLOCK]",
    # Of so many places no more can be kept.
    'said = "Kept every time." if kept >= len(places) else said',
    # Tracks are compared by their stations first, and no two of a register are equal.
    "steps = [t.division for t in block if t != track and t.division > 0]",
    # More columns than those of days are looked through for days, and hold none.
    "DAYS = tuple(c.key for c in CARRIED.columns if c.kind <= Kind.DATE)",
    # A negative number comes near the ratio of no two units.
    'enough = (grouped.transform("count") >= ENOUGH_READINGS) & (median > 0) & (frame[key] != 0)',
    # A part with the further bit is encrypted, and has been refused.
    "info.date_time, bool(info.flag_bits & 2049), info.external_attr, info.create_system,",
    # Of places only those from 0 on are asked for.
    'at = node.number("localSheetId", ~1) if local else -1',
    'at = node.number("localSheetId", -1) if local else - 2',
}


@dataclass(frozen=True)
class Room:
    """Modules as a glob from the top of the checkout, and the tests of them, quickest first.

    `named`: folders whose tests are asked as well, and first, where they name the mutated module.
    """

    modules: str
    tests: tuple[str, ...]
    named: tuple[str, ...] = ()


WHOLE = ("tests/whole/test_verdicts.py", "tests/golden")
ROOMS = {
    "ladder": Room(
        "batch/ladder/*.py",
        (
            "tests/ladder/test_words.py",
            "tests/ladder/test_scan.py",
            "tests/ladder/test_facts.py",
            "tests/ladder/test_doubts.py",
            "tests/ladder/test_judge.py",
            "tests/ladder/test_steps.py",
            "tests/ladder",
            *WHOLE,
        ),
    ),
    "numbers": Room("batch/numbers/*.py", ("tests/numbers", "tests/published", *WHOLE)),
    "checks": Room("checks/*.py", ("tests/checks", *WHOLE)),
    "package": Room(
        "batch/package/*.py",
        (
            "tests/package/test_limits.py",
            "tests/package/test_zip.py",
            "tests/package/test_relations.py",
            "tests/package",
            "tests/graft",
            "tests/reading/test_package.py",
            "tests/reading/test_guarded.py",
        ),
    ),
    "graft": Room(
        "batch/graft/*.py",
        ("tests/graft/test_small.py", "tests/graft", "tests/whole/test_commands.py"),
    ),
    # All of tests/audit takes three minutes: whole audits are asked about the modules that they
    # name, so that what survives here might still be noticed there.
    "audit": Room(
        "batch/audit/*.py",
        (
            "tests/audit/test_promised.py",
            "tests/audit/test_limits.py",
            "tests/audit/test_series_limits.py",
            "tests/audit/test_entries_limits.py",
            "tests/audit/test_told.py",
            "tests/audit/test_tracks.py",
            "tests/audit/test_steps.py",
            "tests/audit/test_rules_of_book.py",
            "tests/audit/test_files_agree.py",
            "tests/audit/test_copies.py",
            "tests/audit/test_traces.py",
            "tests/published/test_digits.py",
            "tests/audit/test_procedure.py",
            "tests/audit/test_sensitivity.py",
            "tests/audit/test_trust.py",
            "tests/audit/test_command.py",
        ),
        named=("tests/audit", "tests/published", "tests/paper"),
    ),
}
