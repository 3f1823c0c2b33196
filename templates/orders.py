"""The orders of work, as steps: what is done at a station, one thing after the other.

The words are those of `safety`, which has the cautions; this module puts steps in order.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import dropwhile, takewhile

from siltbook.templates import safety
from siltbook.templates.safety import FlushRule, Step, Task, Touch

_OPENS = frozenset({Touch.OPENS_FILTER, Touch.PRESSURE})
_FLUSHES = frozenset({Touch.PRESSURE})
_WIRES = frozenset({Touch.WIRING, Touch.PRESSURE})
_PUMPS = frozenset({Touch.SUPPLY, Touch.PRESSURE})
_AFTER = safety.read_step(safety.READ_AFTER)


def order_of_work(
    task: Task, gear_works: bool = True, rule: FlushRule | None = None
) -> tuple[Step, ...]:
    """The steps of one piece of work, in order; its cautions are `cautions(touched_by(...))`.

    `gear_works`: whether solenoid and controller are trusted. Where they are not, the pressure
    is never let off by a flush cycle. `rule` says what makes a flush complete.
    """
    return _ORDERS[task](gear_works, rule or FlushRule())


def in_short(steps: Sequence[Step]) -> str:
    """An order of work in one line for a list, beside which the whole order stands.

    A reading that is asked for first keeps its words; so does work of few steps.
    """
    first = [step.brief for step in takewhile(lambda s: s.task is Task.READING, steps)]
    if not is_long(steps):
        return " ".join(step.brief for step in steps)
    return " ".join([*first, _IN_SHORT[steps[len(first)].task]])


def is_long(steps: Sequence[Step]) -> bool:
    """Whether `in_short` leaves out of this order what then stands elsewhere."""
    rest = list(dropwhile(lambda s: s.task is Task.READING, steps))
    return len(rest) >= _SHORT_FROM and rest[0].task in _IN_SHORT


def make_safe(task: Task, gear_works: bool) -> tuple[Step, ...]:
    """The order before a filter is opened: five steps, of which none may be left out."""
    off = (
        "Let the pressure off with a flush cycle, started by hand."
        if gear_works
        else "Let the pressure off at a drain or vent, or by hand at the flush valve: the flush"
        " gear is not to be trusted."
    )
    return (
        Step(task, "Set the controller so that no automatic flush or irrigation can start, lock"
             " the pump off or prevent its start, stop fertiliser and chemical injection.",
             _OPENS | _PUMPS, "Nothing can start: controller, pump, injection."),
        Step(task, "See the gauge above zero: only then is it known to work.", _OPENS),
        Step(task, "Close the upstream and the downstream valve. One that does not close: do not"
             " open; call for help.", _OPENS,
             "Close the upstream and the downstream valve; one does not close: do not open."),
        Step(task, off, _OPENS),
        Step(task, "See zero on both sides (both selector positions, or both gauges). Not at zero,"
             " or a gauge that never moved: do not open; let off at a drain or vent if the filter"
             " has one; none there, or still not at zero: call for help.",
             _OPENS, "Zero on both sides? If not, or if the gauge never moved: do not open, call"
             " for help."),
    )  # fmt: skip


def close_up(task: Task) -> tuple[Step, ...]:
    """After the cover is shut: valves, pump and controller as they were, and a reading."""
    return (
        Step(task, safety.OPEN_AGAIN, _FLUSHES),
        Step(task, "Give pump, controller and injection free again; stand clear of the cover and"
             " look for leaks.", _PUMPS, "Pump, controller, injection back; look for leaks."),
        Step(task, f"Log the work. {safety.READ_AFTER}",
             short="Log it; read again the same day, both valves open."),
    )  # fmt: skip


def _flush(_: bool, rule: FlushRule) -> tuple[Step, ...]:
    task = Task.FLUSH
    return (
        Step(
            task,
            "See that nobody works there and the covers are on; close the downstream valve."
            " It does not close: no flush; call for help.",
            _FLUSHES,
        ),
        Step(task, f"Start {rule.cycles} flush cycles {safety.BY_HAND}.", _FLUSHES),
        Step(task, f"Watch the inlet: it must stay at or above {rule.least_inlet}.", _FLUSHES),
        Step(task, f"In each cycle {safety.SIGNS}; log yes or no for each.", _FLUSHES),
        Step(task, "Open the downstream valve again.", _FLUSHES),
        _AFTER,
    )


def _hand_cleaning(gear_works: bool, _: FlushRule) -> tuple[Step, ...]:
    task = Task.HAND_CLEANING
    return (
        *make_safe(task, gear_works),
        Step(task, "Take the cover off; coarse screen out, then fine screen out (another element:"
             " as its maker says).", _OPENS, "Cover off; coarse screen out, fine screen out."),
        Step(task, "Clean with pressurised water: eyes covered, jet away from people.", _OPENS),
        Step(task, "Look for tears and worn seals; replace what is damaged.", _OPENS),
        Step(task, "Put the fine screen back, then the coarse screen, then the cover.", _OPENS),
        *close_up(task),
    )  # fmt: skip


def _inspection(gear_works: bool, _: FlushRule) -> tuple[Step, ...]:
    task = Task.INSPECTION
    return (
        Step(task, "Check that the bypass is closed and try the gauge.", _FLUSHES),
        *make_safe(task, gear_works),
        Step(task, "Take the cover off; coarse screen out, then fine screen out. Torn, missing or"
             " not seated? Replace it if needed.", _OPENS),
        Step(task, "Put the fine screen back, then the coarse screen, then the cover.", _OPENS),
        *close_up(task),
    )  # fmt: skip


def _gear(task: Task, rule: FlushRule, part: tuple[Step, ...]) -> tuple[Step, ...]:
    """Work on solenoid or controller around what is done to the `part` itself."""
    return (
        Step(task, "Take the controller's battery out first. Mains: licensed people only.", _WIRES),
        Step(task, "Close the valve that feeds the command tubes, else both valves of the filter,"
             " and let the pressure off at a drain or vent or by hand at the flush valve before a"
             " tube is pulled.", _WIRES, "Pressure off the command tubes (valve closed, drain or"
             " flush valve by hand) before one is pulled."),
        Step(task, "Note or mark cables and tubes.", _WIRES),
        *part,
        Step(task, "Open again what was closed: the downstream valve first, then the upstream"
             " valve, slowly.", _FLUSHES, "Open again what was closed: downstream, then upstream."),
        Step(task, "Put the battery back last, everybody clear of the flush outlet.", _WIRES),
        Step(task, "Prove it by a full flush: close the downstream valve; start"
             f" {rule.cycles} flush cycles {safety.BY_HAND}; {safety.SIGNS}; open the downstream"
             " valve again.", _FLUSHES,
             f"Full flush: downstream valve closed, {rule.cycles} cycles, all signs watched;"
             " open the valve again."),
    )  # fmt: skip


def _solenoid(_: bool, rule: FlushRule) -> tuple[Step, ...]:
    task = Task.SOLENOID
    part = (
        Step(task, safety.FLUSH_GEAR, _WIRES),
        Step(task, "Faulty: old part off its bracket, new part on, then tubes, then cables, at both"
             " ends.", _WIRES),
    )  # fmt: skip
    after = "A new solenoid without all signs: the controller is next; call for help."
    return (*_gear(task, rule, part), Step(task, after, _WIRES), _AFTER)


def _controller(_: bool, rule: FlushRule) -> tuple[Step, ...]:
    task = Task.CONTROLLER
    help_first = "Bring in qualified help for the controller; say that the solenoid was seen to."
    swap = "Old part off its bracket, new part on, then tubes, then cables, at both ends."
    return (
        Step(task, help_first, _WIRES), *_gear(task, rule, (Step(task, swap, _WIRES),)), _AFTER,
    )  # fmt: skip


def _supply(_: bool, __: FlushRule) -> tuple[Step, ...]:
    task = Task.SUPPLY
    return (
        Step(task, "Look at the pump, its suction side and the supply valve.", _PUMPS),
        Step(task, "Walk the supply line and look for a leak.", _PUMPS),
        Step(task, "When the inlet is back: read inlet and outlet again the same day, with both"
             " valves open, and enter the reading."),
    )  # fmt: skip


def _field(_: bool, __: FlushRule) -> tuple[Step, ...]:
    task = Task.FIELD
    return (
        Step(task, "Look beyond the filter: valve, regulator, a broken lateral or an open end.",
             _FLUSHES),
        Step(task, "Close the block's valve before anything is mended (it does not close: call for"
             " help); open it again after, slowly, when nobody works there any more.", _FLUSHES),
        Step(task, "When mended, read inlet, outlet and field pressure again the same day and"
             " enter them."),
    )  # fmt: skip


def _reading(_: bool, __: FlushRule) -> tuple[Step, ...]:
    return (safety.read_step(),)


def _help(_: bool, __: FlushRule) -> tuple[Step, ...]:
    task = Task.HELP
    return (
        Step(task, "Bring in qualified help; hand over the station card (siltbook card BOOK"
             " STATION): it has the readings, flushes and cleanings.", _OPENS,
             "Bring in qualified help; hand over the station card."),
        Step(task, "Until then keep watching the field pressure; do not run the filter without its"
             " element.", _OPENS),
        Step(task, f"After the repair: {safety.READ_AFTER[0].lower()}{safety.READ_AFTER[1:]}"),
    )  # fmt: skip


_SHORT_FROM = 3  # steps; fewer stand as they are
_IN_SHORT = {
    Task.FLUSH: "Flush by hand: downstream valve closed, all signs watched, valve open again; read"
    " the same day.",
    Task.HAND_CLEANING: "Make it safe (no zero on both sides: do not open), clean by hand, read the"
    " same day.",
    Task.INSPECTION: "Bypass closed? Make it safe (no zero on both sides: do not open), look at the"
    " element.",
    Task.SOLENOID: "Battery out first, pressure off the tubes; solenoid; prove it by a full flush;"
    " read the same day.",
    Task.CONTROLLER: "Bring in qualified help for the controller; say that the solenoid was seen"
    " to.",
    Task.SUPPLY: "Look at pump, suction side and supply valve; walk the line for a leak; read when"
    " the inlet is back.",
    Task.FIELD: "Look at valve, regulator, laterals, open ends; close the block's valve before"
    " mending; read after.",
    Task.HELP: "Bring in qualified help; hand over the station card. Keep watching the field"
    " pressure.",
}

_ORDERS: dict[Task, Callable[[bool, FlushRule], tuple[Step, ...]]] = {
    Task.FLUSH: _flush,
    Task.HAND_CLEANING: _hand_cleaning,
    Task.INSPECTION: _inspection,
    Task.SOLENOID: _solenoid,
    Task.CONTROLLER: _controller,
    Task.SUPPLY: _supply,
    Task.FIELD: _field,
    Task.READING: _reading,
    Task.HELP: _help,
}
