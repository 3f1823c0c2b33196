"""What to do next at a station, as steps of the orders of work (templates.orders)."""

from __future__ import annotations

import datetime as dt

from siltbook.batch.ladder.facts import Facts, inlet_weak, unread_beside
from siltbook.batch.ladder.replay import Gear
from siltbook.batch.model import Verdict
from siltbook.templates import safety
from siltbook.templates.orders import order_of_work
from siltbook.templates.safety import FlushRule, Step, Task, Touch
from siltbook.templates.shown import shown_in

_TASKS = {
    Verdict.ESCALATE: Task.HELP,
    Verdict.HAND_CLEAN: Task.HAND_CLEANING,
    Verdict.CHECK_FLUSH_GEAR: Task.SOLENOID,
    Verdict.CHECK_SUPPLY: Task.SUPPLY,
    Verdict.CHECK_FIELD: Task.FIELD,
    Verdict.FLUSH: Task.FLUSH,
    Verdict.INSPECT_SCREEN: Task.INSPECTION,
    Verdict.RE_READ: Task.READING,
    Verdict.NO_READING: Task.READING,
}


def next_steps(
    verdict: Verdict, facts: Facts, read_by: dt.date | None, *, gear_works: bool
) -> tuple[Step, ...]:
    """What to do next, in order. `gear_works`: nothing that holds speaks against the flush gear."""
    if verdict is Verdict.WATCH:
        by = facts.shown.on(read_by)  # never empty: what is watched has a reading
        weak, helps = inlet_weak(facts), facts.flushing_helps
        plan = safety.plan_step(by, flushing_helps=helps, can_flush=not weak)
        return (safety.SUPPLY_FIRST, plan) if weak else (plan,)
    if verdict is Verdict.RE_READ:
        return _re_read(facts)
    task = task_of(verdict, facts.standing.gear)
    return () if task is None else order_of_work(task, gear_works, flush_rule(facts))


def task_of(verdict: Verdict, gear: Gear) -> Task | None:
    """The kind of work that a verdict asks for; None where it asks for none, or only to plan."""
    if verdict is Verdict.ESCALATE and gear is Gear.CONTROLLER_SUSPECT:
        return Task.CONTROLLER
    return _TASKS.get(verdict)


def touches_of(verdict: Verdict) -> frozenset[Touch]:
    """What the work that a verdict names may touch, whatever the station."""
    found = {task for gear in Gear if (task := task_of(verdict, gear)) is not None}
    return safety.touched_by(step for task in found for step in order_of_work(task))


def flush_rule(facts: Facts) -> FlushRule:
    """The farm's rule for a complete flush, its lowest inlet in the station's own unit."""
    shown, asked = shown_in(facts.history.station.now.unit), facts.settings.flush_inlet
    return FlushRule(facts.settings.flush_cycles, shown.at_least(asked, typed_from=1))


def _re_read(facts: Facts) -> tuple[Step, ...]:
    newest = facts.newest
    again = safety.read_step()
    if newest is not None and newest.why_unusable == "outlet above inlet":
        return (safety.read_step(safety.SELECTOR), again)
    if newest is not None and " looks like " in newest.why_unusable:
        return (safety.read_step(safety.MISTYPED), again)
    if unread_beside(facts):
        return (safety.read_step(safety.MISTYPED), again)
    if facts.misplaced is not None and (newest is None or newest.usable):
        return (safety.read_step(safety.MISDATED), again)
    history = facts.history
    if (history.unplaced or history.unplaced_gauges or facts.lost_work) and (
        newest is None or newest.usable
    ):
        return (safety.read_step(safety.UNPLACED), again)
    if facts.not_read and (newest is None or newest.usable):
        return (safety.read_step(safety.NOT_READ), again)
    return (again, safety.read_step(safety.USUAL_FLOW))
