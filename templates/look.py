"""How every sheet looks: one font, one palette, the verdicts' words, symbols and colours.

The verdict colours are a ramp of lightness, darkest for the most urgent, so the order
survives a grey print; neighbours also swap between warm and blue, the pair of hues that the
common kinds of colour blindness leave apart, and green is kept for *In range*. Colour never
speaks alone: every verdict has a symbol and a word of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

TYPE_SIZE = 10  # of tables [pt]
FONT = "Arial"  # every system has it, or one of exactly its widths: pages break alike everywhere
DATE_FORMAT = "yyyy-mm-dd"
TIME_FORMAT = "hh:mm"
METRE_FORMAT = "0.00"
INK = "#1A1A1A"
RESULT_TAB = "#0B3C7D"  # the tabs of sheets that Siltbook writes
QUIET = "#595959"
RULE = "#B8BEC6"
HEAD_FILL = "#E4E9F0"
WHITE = "#FFFFFF"
BLACK = "#000000"
# Lines and marks of the charts: told apart by shape and dash as well as by colour.
DROP_LINE = RESULT_TAB
LIMIT_LINE = "#A8430F"
CLEAN_LINE = "#6B7785"
BAR_FILL = "#8FB4DD"
GRID_LINE = "#E1E5EA"
BAND_LINE = "#6FA0D8"  # of a forecast; drawn half transparent


@dataclass(frozen=True)
class VerdictLook:
    """What a person sees of one verdict: word, symbol, fill and text colour (#RRGGBB)."""

    shown: str
    symbol: str
    fill: str
    text: str

    @property
    def label(self) -> str:
        """Symbol and word together, as every verdict cell shows them."""
        return f"{self.symbol} {self.shown}"


VERDICTS: dict[str, VerdictLook] = {
    "escalate": VerdictLook("Escalate", "▲", "#430740", WHITE),
    "hand-clean": VerdictLook("Hand clean", "■", "#043176", WHITE),
    "check-flush-gear": VerdictLook("Check flush gear", "◆", "#7D2C1B", WHITE),
    "check-supply": VerdictLook("Check supply", "▼", "#0357B2", WHITE),
    "check-field": VerdictLook("Check field side", "►", "#B44E1F", WHITE),
    "flush": VerdictLook("Flush", "●", "#1084E0", BLACK),
    "inspect-screen": VerdictLook("Inspect screen", "◇", "#DC7A2C", BLACK),
    "re-read": VerdictLook("Re-read", "□", "#52ACF6", BLACK),
    "no-reading": VerdictLook("No reading", "○", "#E8AF47", BLACK),
    "watch": VerdictLook("Watch", "△", "#A0D1FF", BLACK),
    "in-range": VerdictLook("In range", "✓", "#C2E9C8", BLACK),
    "resting": VerdictLook("Resting", "–", "#F0F4F9", BLACK),
}

# One after the other, of series that have no verdict; neighbours differ in lightness and in hue.
_TELLING = ("inspect-screen", "re-read", "check-flush-gear", "watch", "no-reading")
SERIES = (RESULT_TAB, *(VERDICTS[verdict].fill for verdict in _TELLING))

# State of an audit rule -> word with its symbol, fill. Calm: an audit accuses nobody.
AUDIT_STATES = {
    "look": ("? To look at", "#F6DDBF"),
    "quiet": ("✓ Nothing found", "#E4EEF8"),
    "cannot tell": ("– Cannot tell", WHITE),
}

# Severity id -> word with its symbol.
SEVERITIES = {"error": "✕ Error", "doubt": "? Doubt", "note": "· Note"}

_BASE: dict[str, object] = {
    "font_name": FONT,
    "font_scheme": "none",
    "font_size": TYPE_SIZE,
    "font_color": INK,
    "valign": "top",
}
_BOX: dict[str, object] = {**_BASE, "valign": "vcenter", "bottom": 1, "bottom_color": RULE}
_LEFT: dict[str, object] = {**_BOX, "align": "left", "indent": 1}
_QUIET: dict[str, object] = {**_LEFT, "font_color": QUIET}
_DAY: dict[str, object] = {**_BASE, "align": "center", "valign": "vcenter"}

# Cell formats by name, in XlsxWriter's words; sheets ask for them by name only.
FORMATS: dict[str, dict[str, object]] = {
    "title": {**_BASE, "font_size": 16, "bold": True},
    "mark": {**_BASE, "font_color": QUIET},
    "says": {**_BASE, "font_color": QUIET, "text_wrap": True},
    "unseen": {**_BASE, "num_format": ";;;"},
    "line": {**_BASE, "text_wrap": True, "valign": "vcenter"},
    "strong": {**_BASE, "text_wrap": True, "valign": "vcenter", "bold": True},
    "question": {**_BASE, "font_size": 12, "bold": True, "valign": "bottom"},
    "caution": {
        **_BASE, "text_wrap": True, "left": 5, "left_color": LIMIT_LINE,
        "align": "left", "indent": 1, "valign": "vcenter",
    },
    "emergency": {
        **_BASE, "text_wrap": True, "bold": True, "left": 5, "left_color": LIMIT_LINE,
        "align": "left", "indent": 1, "valign": "vcenter",
    },
    "section": {**_BASE, "font_size": 12, "bold": True},
    "head": {
        **_BASE, "bold": True, "text_wrap": True, "bg_color": HEAD_FILL, "bottom": 1,
        "bottom_color": INK, "valign": "top", "align": "left", "indent": 1,
    },
    "text": _LEFT,
    "wrap": {**_LEFT, "text_wrap": True},
    "name": {**_LEFT, "text_wrap": True, "bold": True},
    "fill-in": {**_BOX, "text_wrap": True, "left": 1, "left_color": RULE, "right": 1,
                "right_color": RULE},
    "fill-in-day": {**_BOX, "text_wrap": True, "left": 1, "left_color": RULE, "right": 1,
                    "right_color": RULE, "num_format": DATE_FORMAT},
    "date": {**_LEFT, "num_format": DATE_FORMAT},
    "time": {**_LEFT, "num_format": TIME_FORMAT},
    "metres": {**_BOX, "num_format": METRE_FORMAT},
    "share": {**_BOX, "num_format": "0%"},
    # Of pressures and rates: `shown.Shown.cells` has the digits of the unit that is shown.
    "level": {**_BOX, "num_format": "0.0"},
    "fine": {**_BOX, "num_format": METRE_FORMAT},
    "weekly": {**_BOX, "num_format": METRE_FORMAT},
    "rate": {**_BOX, "num_format": "0.000"},
    "hundredths": {**_BOX, "num_format": METRE_FORMAT},
    "money": {**_BOX, "num_format": "#,##0.00"},
    "days": {**_BOX, "num_format": "0.0"},
    "amount": {**_BOX, "num_format": "#,##0.0"},
    "sum": {**_BOX, "num_format": "#,##0.0", "bold": True},
    "total": {**_BOX, "num_format": "#,##0.0", "bold": True, "top": 1, "top_color": INK},
    "total-whole": {**_BOX, "num_format": "#,##0", "bold": True, "top": 1, "top_color": INK},
    "total-name": {**_LEFT, "bold": True, "top": 1, "top_color": INK},
    "whole": {**_BOX, "num_format": "0", "align": "right"},  # so that "at least 3" stays in it
    "general": _BOX,
    "factor": {**_BOX, "num_format": "0.00000"},
    "chance": {**_BOX, "num_format": "0.0%"},
    "link": {**_LEFT, "font_color": RESULT_TAB, "underline": 1},
    "bound": {**_BOX, "num_format": "[>=1000]#,##0;General"},
    "tested": {**_BOX, "num_format": "[>=1000]#,##0;General", "font_color": RESULT_TAB,
               "underline": 1, "align": "right"},
    # The clogging hazard of water: a ramp of lightness too, each with its sign and word.
    "hazard low": {**_LEFT, "bold": True, "bg_color": "#DCE9F7"},
    "hazard moderate": {**_LEFT, "bold": True, "bg_color": VERDICTS["no-reading"].fill},
    "hazard severe": {**_LEFT, "bold": True, "font_color": WHITE,
                      "bg_color": VERDICTS["check-flush-gear"].fill},
    "over": {"bold": True, "bg_color": VERDICTS["hand-clean"].fill, "font_color": WHITE},
    "data": {**_BASE, "font_color": QUIET},
    # Of a review pack.
    "rows": {**_QUIET, "text_wrap": True},
    "said": _QUIET,
    "energy": {**_BOX, "num_format": "#,##0"},
    "day": {**_LEFT, "text_wrap": True, "num_format": DATE_FORMAT, "left": 1, "left_color": RULE,
            "right": 1, "right_color": RULE, "indent": 0},
    "weekday": {**_DAY, "bg_color": HEAD_FILL},
    "weekend": {**_DAY, "bg_color": RULE},
    "empty": {**_DAY, "bottom": 1, "bottom_color": RULE},
    "span": {**_DAY, "bottom": 1, "bottom_color": RULE, "bg_color": BAR_FILL},
    "expected": {**_DAY, "bottom": 1, "bottom_color": RULE, "bg_color": DROP_LINE,
                 "font_color": WHITE, "bold": True},
    "data-date": {**_BASE, "font_color": QUIET, "num_format": DATE_FORMAT},
}  # fmt: skip


def audit_format(state: str) -> dict[str, object]:
    """The coloured cell of one state of an audit rule; KeyError for an unknown state."""
    fill = AUDIT_STATES[state][1]
    return {**_LEFT, "bold": state == "look", "text_wrap": True, "bg_color": fill}


def verdict_format(verdict: str) -> dict[str, object]:
    """The coloured cell of one verdict id; KeyError for an unknown id."""
    look = VERDICTS[verdict]
    return {
        **_LEFT,
        "bold": True,
        "text_wrap": True,
        "bg_color": look.fill,
        "font_color": look.text,
    }
