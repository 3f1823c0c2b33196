"""Cautions and orders of work: the one place that has their words.

Whoever tells a person to do something takes the words from here. A step says what it touches,
and the cautions follow from that, never from its wording. Orders and signs are common practice,
no published source (docs/method.md marks them so).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Touch(StrEnum):
    """What a step touches that can hurt; in the order in which cautions are read."""

    OPENS_FILTER = "opens a filter"
    PRESSURE = "gear under pressure"
    WIRING = "solenoid, controller or wiring"
    SUPPLY = "pump or supply"
    CHEMICALS = "chemicals"
    GAS = "poisonous gas"


class Task(StrEnum):
    """Kinds of work that a step belongs to."""

    FLUSH = "flush"
    HAND_CLEANING = "hand cleaning"
    INSPECTION = "inspection of the element"
    SOLENOID = "work on the solenoid"
    CONTROLLER = "work on the controller"
    SUPPLY = "check of the supply"
    FIELD = "check of the field side"
    READING = "reading"
    HELP = "call for help"


@dataclass(frozen=True)
class Step:
    """One step of a piece of work: what it touches, its words, and fewer words for a list."""

    task: Task
    words: str
    touches: frozenset[Touch] = frozenset()
    short: str = ""

    @property
    def brief(self) -> str:
        """The words for a list beside which the cautions stand."""
        return self.short or self.words

    def __str__(self) -> str:
        """The whole words."""
        return self.words


@dataclass(frozen=True)
class FlushRule:
    """What makes a flush complete: its cycles, and the lowest inlet with its unit in words."""

    cycles: int = 3
    least_inlet: str = "2.0 bar"


EMERGENCY = (
    "In an emergency first (water escaping under pressure, a cover that lifts, a chemical smell):"
    " get away, stop the pump if it is safe to reach, call for help."
)
BEFORE_OPENING = (
    "Before a filter is opened, in this order: set the controller so that no automatic flush or"
    " irrigation can start, lock the pump off or prevent its start, stop fertiliser and chemical"
    " injection; see the gauge above zero, so that it is known to work; close the upstream and the"
    " downstream valve; let the pressure off, by a flush cycle only where the flush gear works,"
    " else at a drain or vent or by hand at the flush valve; see zero on both sides (both selector"
    " positions, or both gauges): a clogged element can hold pressure on one side while the other"
    " reads zero. Not at zero, or a gauge that never moved: do not open; let off at a drain or vent"
    " if the filter has one. None there, still not at zero, or a valve that does not close: do not"
    " open; call for help."
)
UNDER_PRESSURE = (
    "Gear under pressure: before a valve is opened or a flush started, see that nobody works there"
    " and that the covers are on; stand beside a flush outlet, never in front of it; loosen no"
    " cover, tube or fitting while there is pressure behind it; open valves slowly. Force no valve:"
    " one that is stuck or does not close is for qualified help; until then start no flush and"
    " open no filter there."
)
WIRING = (
    "Solenoid and controller: battery out first and back last; pressure off the command tubes"
    " before one is pulled. Mains work is for licensed people only."
)
AT_THE_PUMP = (
    "At the pump: it can start by itself; lock it off before anything on it is touched. Its"
    " electrics are for licensed people only, and nobody climbs into a well, pit or tank."
)
CHEMICALS = (
    "Chemicals: acid and chlorine are never mixed, nor stored or injected together: the gas is"
    " poisonous. Wear the protective gear that the label asks for, and keep treated water out of"
    " drinking water. Whether to treat, with what and how much is for licensed practice."
)
SULPHIDE = (
    "Hydrogen sulphide is a poisonous gas that gathers in wells, pits and tanks: nobody enters one"
    " before a gas test, nor alone."
)
MAKER_FIRST = (
    "Local codes, the maker's manual and licensed practice come before anything that is said here."
)
CAUTIONS = {
    Touch.OPENS_FILTER: BEFORE_OPENING,
    Touch.PRESSURE: UNDER_PRESSURE,
    Touch.WIRING: WIRING,
    Touch.SUPPLY: AT_THE_PUMP,
    Touch.CHEMICALS: CHEMICALS,
    Touch.GAS: SULPHIDE,
}
ANYTHING = frozenset(Touch) - {Touch.GAS}  # what people write in themselves may be any work


def cautions(touches: Iterable[Touch]) -> tuple[str, ...]:
    """The cautions that go with what is touched, the emergency first; none where nothing is."""
    touched = set(touches)
    if not touched:
        return ()
    return (EMERGENCY, *(CAUTIONS[t] for t in Touch if t in touched), MAKER_FIRST)


def in_order(lines: Iterable[str]) -> tuple[str, ...]:
    """Cautions of several books as one list: each once, the emergency first."""
    given = set(lines)
    return tuple(words for words in cautions(Touch) if words in given)


def touched_by(steps: Iterable[Step]) -> frozenset[Touch]:
    """Everything that these steps touch."""
    return frozenset(touch for step in steps for touch in step.touches)


BY_HAND = "at the controller's manual control, or by whatever remote control the farm has"
SIGNS = (
    "look whether water leaves the flush outlet, listen for water running in the filter and for"
    " the solenoid's click"
)
READ_AGAIN = (
    "Read inlet and outlet again, with both valves open (one that is shut: ask first who shut it),"
    " and enter the reading."
)
READ_AFTER = (
    "With both valves open, read inlet and outlet again the same day and enter the reading."
)
SELECTOR = "Check the selector: inlet first, then outlet."
MISTYPED = "Look at what was typed: is its unit right, and its decimal mark? Correct the cell."
MISDATED = "Look at the date that was typed: day, month and year. Correct the cell."
UNPLACED = "Look at the row that could not be placed: its station and its date. Correct the cells."
NOT_READ = "Move the rows that were not read to where they belong."
USUAL_FLOW = "Read while the station irrigates at its usual flow."
READ_ONCE_MORE = "Read once more first: the drop is too near the limit for this gauge to tell."
GAUGES_CANNOT_TELL = (
    "Reading again on the same gauges cannot tell whether the drop is over the limit: their class"
    " stands in the way. Compare first on {better}."
)
OPEN_AGAIN = "Open the downstream valve first, then the upstream valve, slowly."
FLUSH_GEAR = "Check the solenoid first: cable, plunger, blocked port."
# Whole orders in one sentence, for pages that have no room for a list.
FLUSH_IN_ONE = (
    "see that nobody works there; close the downstream valve; start the farm's number of flush"
    " cycles"
    f" {BY_HAND}; {SIGNS}; open the downstream valve again"
)
CLEANING_IN_ONE = (
    "cover off; coarse screen out, fine screen out; pressurised water on the screen, eyes covered,"
    " jet away from people; look for tears and worn seals; fine screen back, then coarse screen,"
    " cover; downstream valve open first, upstream valve after it, slowly; pump, controller and"
    " injection back; look for leaks; read again"
)
GEAR_IN_ONE = (
    "battery out first; pressure off the command tubes before they are pulled; note or mark cables"
    " and tubes; old part off its bracket, new part on, tubes, cables, both ends; valves that were"
    " closed open again; battery back last; then the full number of flush cycles with all signs"
    " watched"
)
BELOW = (
    "Before any of it is done, read the cautions and the whole order of work below the table (the"
    " station card has them, too)."
)
ON_START_HERE = "before it is done, read the cautions on the sheet Start here"


def read_step(words: str = READ_AGAIN) -> Step:
    """A reading: nothing is touched."""
    return Step(Task.READING, words)


TRY_OUTLET = Step(
    Task.READING,
    "The outlet reads zero: look whether the valves are open, try the gauge, and read once more"
    " first.",
    frozenset({Touch.PRESSURE}),
)
TRY_STILL = Step(
    Task.READING,
    "The outlet stands still while the inlet moves: try the gauge first, and read once more.",
    frozenset({Touch.PRESSURE}),
)
TRY_ALIKE = Step(
    Task.READING,
    "Both sides read alike: see that the cover is on and nobody works there, open both valves,"
    " slowly, turn the selector, and read once more while water flows.",
    frozenset({Touch.PRESSURE}),
)
MADE_SAFE_FIRST = Step(
    Task.READING,
    "Do not open the filter, start no flush, until a competent person has made safe what was"
    " noted.",
    frozenset({Touch.OPENS_FILTER, Touch.PRESSURE}),
)
LOG_OR_NAME = Step(
    Task.READING,
    "Over and in range on one day: log the flush if there was one; where two filters go by one"
    " name, give each its own.",
)
CORRECT_RULES = Step(
    Task.READING,
    "A limit or another rule of this station cannot be used as it was typed: correct its cell"
    " (sheet Findings), and judge the book again.",
)
SUPPLY_FIRST = Step(
    Task.READING,
    "The inlet is far under what a flush needs: see whether its unit is right; where the station"
    " works so low, fill in its lowest working inlet (sheet Stations). No flush can be planned"
    " before.",
)
FLUSH_AND_SEE = Step(
    Task.FLUSH,
    "Nobody wrote down whether the flush happened: before anything is opened flush once"
    f" more: {FLUSH_IN_ONE}; then read again.",
    frozenset({Touch.PRESSURE}),
    "Flush once more first and see its signs.",
)


def plan_step(day: str, *, flushing_helps: bool, can_flush: bool = True) -> Step:
    """When to read again, and what to plan, for a watched station."""
    if not can_flush:
        return read_step(f"Read again by {day}.")
    if flushing_helps:
        words = f"Read again by {day}; plan a flush."
        return Step(Task.FLUSH, words, frozenset({Touch.PRESSURE}))
    words = f"Read again by {day}; plan a hand cleaning."
    return Step(Task.HAND_CLEANING, words, frozenset({Touch.OPENS_FILTER}))
