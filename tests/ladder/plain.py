"""A second ladder, written plainly from the design page; it imports nothing of the product.

One log is a list of dicts in order of time: {"kind": "read", "day", "inlet", "outlet", "flow"}
or {"kind": "work", "day", "work", "cycles", "low", "click", "heard", "water"}; pressures [m].
A farm is a dict {"reference", "working", "gauges"}; its gauges, in order of time, are dicts
{"since", "two", "division", "scale", "class"}, the first of them the register's; "two" is None
where a changed gauge stands as the one before it.
"""

from __future__ import annotations

import math
from typing import Any

Log = list[dict[str, Any]]
LIMIT, CYCLES, FLUSH_INLET, INTERVAL, SHARE = 5.0, 3, 20.394, 7, 0.8


def usable(entry: dict[str, Any], farm: dict[str, Any]) -> bool:
    """Whether a reading can be used at all, wherever it stands in the log."""
    inlet, outlet, flow = entry["inlet"], entry["outlet"], entry["flow"]
    scale = gauge_on(farm, entry["day"])["scale"]
    if inlet is None or outlet is None or inlet <= 0 or outlet < 0:
        return False
    if scale is not None and max(inlet, outlet) > scale + 1e-6:
        return False
    if outlet > inlet + slack(gauge_on(farm, entry["day"])):
        return False
    if flow is not None and flow <= 0:
        return False
    known = farm["reference"] or farm["usual"]
    return not (flow is not None and known and flow < 0.2 * known)


def usual_flow(log: Log) -> float | None:
    """The middle one of four flows or more."""
    flows = sorted(e["flow"] for e in log if e["kind"] == "read" and (e["flow"] or 0) > 0)
    half = len(flows) // 2
    middle = flows[half] if len(flows) % 2 else (flows[half - 1] + flows[half]) / 2 if flows else 0
    return middle if len(flows) >= 4 else None


def gauge_on(farm: dict[str, Any], day: int) -> dict[str, Any]:
    """The gauge that was read on a day; its arrangement is the last one that was said."""
    past = [gauge for gauge in farm["gauges"] if gauge["since"] <= day]
    said = [gauge["two"] for gauge in past if gauge["two"] is not None]
    return {**past[-1], "two": bool(said and said[-1])}


def slack(gauge: dict[str, Any]) -> float:
    """How far an outlet may read above its inlet."""
    if gauge["division"] is None:
        return 1e-6
    square = gauge["division"] ** 2 / 6
    if gauge["two"]:
        square += 2 * (gauge["class"] * gauge["scale"] / 100) ** 2 / 3
    return 1e-6 + 1.6448536269514722 * math.sqrt(square)


class Plain:
    """Where one station stands, entry by entry."""

    def __init__(self, farm: dict[str, Any]) -> None:
        self.farm = farm
        self.state = "clear"
        self.gear = ""  # '', 'solenoid', 'controller' (suspect) or 'proof' (awaited)
        self.new_solenoid = False
        self.supply = False
        self.worked = False  # since the last reading that was looked at
        self.alike: int | None = None  # day of a reading with both sides alike that waits
        self.worked_in_episode = False
        self.came_back = False  # in range again with no work logged
        self.back_on: int | None = None  # the day of the reading that came back so
        self.latest: dict[str, Any] | None = None
        self.unread = False  # the newest reading could not be used

    def take(self, entry: dict[str, Any], cleaned_today: bool) -> None:
        if entry["kind"] == "work":
            self.work(entry)
        elif not usable(entry, self.farm):
            self.unread = True
        elif self.must_be_read_again(entry):
            self.unread, self.alike, self.worked = True, entry["day"], False
        else:
            self.read(entry, cleaned_today)

    def must_be_read_again(self, entry: dict[str, Any]) -> bool:
        if abs(entry["inlet"] - entry["outlet"]) > 1e-6 or entry["flow"] is not None:
            return False
        if self.alike is not None and not self.worked:
            return bool(entry["day"] == self.alike)
        before = self.latest["inlet"] - self.latest["outlet"] if self.latest else 0.0
        return self.state != "clear" or self.worked or before > LIMIT / 2

    def read(self, entry: dict[str, Any], cleaned_today: bool) -> None:
        self.latest, self.unread, self.worked, self.alike = entry, False, False, None
        if entry["inlet"] - entry["outlet"] <= LIMIT + 1e-6:
            if self.state != "clear":
                self.came_back = not self.worked_in_episode and not cleaned_today
                self.back_on = entry["day"]
            self.state, self.supply = "clear", False
            return
        self.came_back = False
        if self.state == "clear":
            self.state, self.supply, self.worked_in_episode = "flush", False, False
        elif self.state == "flushed":
            self.state = "clean"
        elif self.state == "cleaned":
            self.state = "escalate"

    def work(self, entry: dict[str, Any]) -> None:
        what = entry["work"]
        if what == "called out":
            return
        self.worked = True
        if what == "other":
            return
        self.worked_in_episode = True
        if what in ("flush", "hand cleaning", "screen replaced"):
            self.came_back = False
        if what == "flush":
            self.flush(entry)
        elif what in ("hand cleaning", "screen replaced"):
            if self.state != "clear":
                self.state, self.supply = "cleaned", False
        else:
            self.gear = "proof"
            self.new_solenoid = self.new_solenoid or what == "solenoid replaced"

    def flush(self, entry: dict[str, Any]) -> None:
        low = entry["low"] is not None and entry["low"] < FLUSH_INLET - 1e-6
        signless = False in (entry["click"], entry["heard"], entry["water"])
        short = entry["cycles"] is not None and entry["cycles"] < CYCLES
        if low:
            if short or signless or self.state == "flush":
                self.supply = True
            if entry["click"] and entry["water"] and not short and not signless:
                self.gear, self.new_solenoid = "", False
        elif signless:
            known = self.new_solenoid or self.gear == "controller"
            self.gear = "controller" if known else "solenoid"
        elif not short:
            self.gear, self.new_solenoid, self.supply = "", False, False
            if self.state == "flush":
                self.state = "flushed"

    def uncertainty(self, drop: float) -> float | None:
        """Standard uncertainty of the latest drop, None without gauge data."""
        gauge = gauge_on(self.farm, self.latest["day"] if self.latest else 0)
        if gauge["division"] is None:
            return None
        square = gauge["division"] ** 2 / 6
        part = gauge["scale"] * math.sqrt(2) if gauge["two"] else drop
        return math.sqrt(square + (gauge["class"] * part / 100) ** 2 / 3)

    def verdicts(self, as_of: int) -> list[str]:
        """Everything that holds, most urgent first, but what other pages decide (forecast)."""
        latest, farm, found = self.latest, self.farm, []
        drop = latest["inlet"] - latest["outlet"] if latest else math.nan
        over = latest is not None and drop > LIMIT + 1e-6
        low = latest is not None and latest["inlet"] < farm["working"] - 1e-6
        if self.gear == "controller" or self.state == "escalate":
            found.append("escalate")
        if self.state == "clean":
            found.append("hand-clean")
        if self.gear == "solenoid":
            found.append("check-flush-gear")
        if self.gear == "proof":
            found.append("flush")
        if self.supply or (over and latest is not None and latest["inlet"] < FLUSH_INLET - 1e-6):
            found.append("check-supply")
        if self.state == "flush":
            found.append("flush")
        if self.state in ("flushed", "cleaned") or self.unread:
            found.append("re-read")
        if low:
            found.append("check-supply")
        if latest is None or as_of - latest["day"] > INTERVAL:
            found.append("no-reading")
        if latest is not None and not over and self.near(latest, drop):
            found.append("watch")
        return list(dict.fromkeys(found)) or ["in-range"]

    def near(self, latest: dict[str, Any], drop: float) -> bool:
        """In range, but to be watched."""
        at, known = drop, self.farm["reference"] or self.farm["usual"]
        if latest["flow"] and known:
            at = drop * (known / latest["flow"]) ** 2
        elif self.came_back and self.back_on == latest["day"]:
            return True
        u = self.uncertainty(drop)
        doubt = bool(u) and 0.5 * math.erfc((LIMIT - drop) / (float(u or 1) * math.sqrt(2))) >= 0.05
        return drop >= SHARE * LIMIT - 1e-6 or at > LIMIT + 1e-6 or (self.came_back and doubt)


def judge_plainly(log: Log, farm: dict[str, Any], as_of: int) -> list[str]:
    """Every verdict that holds for a log, most urgent first."""
    plain = Plain({**farm, "usual": usual_flow(log)})
    clears = ("flush", "hand cleaning", "screen replaced")
    days = {e["day"] for e in log if e["kind"] == "work" and e["work"] in clears}
    for entry in log:
        plain.take(entry, entry["day"] in days)
    return plain.verdicts(as_of)
