"""The audit's rules: titles, needs and innocent explanations. The words never accuse."""

from __future__ import annotations

from siltbook.batch.audit.model import AuditRule, Question

_T, _P, _V = Question.TRUST, Question.PROCEDURE, Question.VERDICT

_RULES = (
    AuditRule("coverage", _T, "Reading plan kept", "a first reading and the reading interval",
              "The station rested, access was flooded, or the readings are on paper."),
    AuditRule("step-order", _T, "Steps in an order that can be", "times, or occasions, of entries",
              "A time or an occasion was mistyped, or a flush was done but not written down."),
    AuditRule("same-time", _T, "Stations read at the very same minute", "10 rounds with times",
              "One time was written down for the whole round on that day."),
    AuditRule("back-dated", _T, "Entries far below later ones", "rows in the order of entry",
              "A paper slip was found late, a date was mistyped, or the sheet was sorted."),
    AuditRule("copied-block", _T, "Readings repeated as a block",
              "12 readings whose spread is known",
              "A row was filled down by mistake, or the station and its pump were very steady."),
    AuditRule("copied-round", _T, "A round equal to another", "4 stations and 10 rounds",
              "One round was entered under two dates by mistake, or nothing changed between them."),
    AuditRule("round-digits", _T, "Too many round last digits",
              "25 readings that differ, over two turns of the digit; 10 for half divisions",
              "The pointer was read to the longer marks only; the gauge may be coarser than the"
              " register says."),
    AuditRule("stuck-gauge", _T, "A gauge that does not move", "8 other readings, or 2 neighbours",
              "A regulator holds the pressure, or the pointer or the selector is stuck."),
    AuditRule("same-series", _T, "Stations with the same series", "4 stations, 10 common days",
              "One gauge was read for two stations, or they share one filter."),
    AuditRule("resting", _T, "Readings while the station rested",
              "a flow of 0, or a remark such as 'resting since 2026-06-01'",
              "Pressure was standing in the pipe, the meter stuck, or the station ran for a test."),
    AuditRule("neighbours", _T, "Inlet against stations of the same block",
              "3 neighbours in the block, 10 common days",
              "A valve upstream was throttled, the station hangs on another pump, or its gauge is"
              " off."),
    AuditRule("swapped", _T, "Inlet and outlet the wrong way round", "inlet and outlet",
              "The selector or the two columns were mistaken, or two gauges were fitted in each"
              " other's place."),
    AuditRule("flush-in-a-day", _P, "Flushed within a day", "episodes",
              "The flush was done but not written down, or the station rested."),
    AuditRule("all-cycles", _P, "All flush cycles run", "flushes in an episode",
              "The cycles were run but not written down."),
    AuditRule("inlet-held", _P, "Inlet held during the flush", "flushes in an episode",
              "The lowest inlet was not written down, or other stations drew water."),
    AuditRule("signs-recorded", _P, "Click and water at the outlet recorded",
              "flushes in an episode", "The signs were seen but not written down."),
    AuditRule("read-after", _P, "Read again within a day of each step", "steps in an episode",
              "The reading was taken but not entered."),
    AuditRule("cleaned-after-flush", _P, "Hand cleaned only after a proven flush",
              "openings in an episode", "The element was due for cleaning anyway."),
    AuditRule("zero-before-opening", _P, "Gauge at zero recorded before opening", "openings",
              "The gauge was looked at but nothing was written down."),
    AuditRule("above-zero-before", _P, "Gauge seen above zero on that visit", "openings",
              "The gauge was seen working but the reading was not entered."),
    AuditRule("called-after-cleaning", _P, "Help called, whenever it was",
              "call-outs in an episode", "A call for help is always in order."),
    AuditRule("same-version", _V, "Same version of the program", "result sheets",
              "The program was updated since."),
    AuditRule("same-date", _V, "Same as-of date", "result sheets",
              "The audit was asked for another day, or entries were added since."),
    AuditRule("same-inputs", _V, "Same inputs", "result sheets with a fingerprint",
              "A typing slip was corrected or entries were added after the last run."),
    AuditRule("same-numbers", _V, "Same numbers", "result sheets",
              "Inputs were corrected after the last run, or somebody typed over a result."),
)  # fmt: skip

RULES: dict[str, AuditRule] = {rule.code: rule for rule in _RULES}
