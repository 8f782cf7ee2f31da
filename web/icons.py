"""How a state is shown: always a word and a drawn mark, so that colour only repeats what both say.

Pages, printed sheets and mails name a state by its code; the word people read and the shape they
recognise across the counter are chosen here and nowhere else.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shape:
    """A drawing on a 16 by 16 field: `fill` is painted, `line` is stroked (SVG path data)."""

    fill: str = ""
    line: str = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A state's word, its shape, and the tone (settled, waiting, alarm, quiet, plain).

    ``several`` is the word beside a number of things in that state, where it differs: 2 differ.
    """

    word: str
    shape: Shape
    tone: str = "plain"
    several: str = ""


_CIRCLE = "M8 2.5a5.5 5.5 0 1 0 0 11a5.5 5.5 0 0 0 0-11z"

RING = Shape(line=_CIRCLE)
DOT = Shape(line=_CIRCLE, fill="M8 5.6a2.4 2.4 0 1 0 0 4.8a2.4 2.4 0 0 0 0-4.8z")
HALF = Shape(line=_CIRCLE, fill="M8 2.5a5.5 5.5 0 0 1 0 11z")
DISC = Shape(fill="M8 1.8a6.2 6.2 0 1 0 0 12.4a6.2 6.2 0 0 0 0-12.4z")
TARGET = Shape(
    line="M8 1.6a6.4 6.4 0 1 0 0 12.8a6.4 6.4 0 0 0 0-12.8z",
    fill="M8 4.4a3.6 3.6 0 1 0 0 7.2a3.6 3.6 0 0 0 0-7.2z",
)
CLOCK = Shape(line=_CIRCLE + "M8 5v3.2l2.2 1.5")
STRIKE = Shape(line=_CIRCLE + "M4.2 11.8l7.6-7.6")
REPLACED = Shape(
    line="M10.4 4a4 4 0 1 0 0 8a4 4 0 0 0 0-8z", fill="M4.6 5a3 3 0 1 0 0 6a3 3 0 0 0 0-6z"
)
SQUARE = Shape(fill="M3 3h10v10h-10z")
FRAME = Shape(line="M3.5 3.5h9v9h-9z")
TICK = Shape(line="M2.8 8.6l3.4 3.6l7-8.2")
CROSS = Shape(line="M4 4l8 8M12 4l-8 8")
WEDGE = Shape(fill="M8 1.2l7.2 13.2h-14.4zM7.2 6v4.2h1.6v-4.2zM7.2 11.4v1.6h1.6v-1.6z")
BROKEN = Shape(
    line="M9.6 2.7a5.5 5.5 0 0 1 3.7 3.7M13.3 9.6a5.5 5.5 0 0 1-3.7 3.7"
    "M6.4 13.3a5.5 5.5 0 0 1-3.7-3.7M2.7 6.4a5.5 5.5 0 0 1 3.7-3.7"
)
LOAD = Shape(line="M8 2v7.4M4.8 6.4l3.2 3.2l3.2-3.2M3 13.2h10")
FLAG = Shape(line="M4 2v12.4", fill="M4 2l9.4 3.4l-9.4 3.4z")
ASIDE = Shape(line="M1.6 5h4.2l4 6h4.6M11.6 8.4l2.8 2.6l-2.8 2.6")
BRANCH = Shape(line="M3 14v-12M3 9.5h5.2l4.6-5M9 4.2h4.2v4.2")
DASH = Shape(line="M3.5 8h9")
BACK = Shape(line="M6 3l-3.5 3.5l3.5 3.5M2.5 6.5h6.6a3.4 3.4 0 0 1 0 6.8h-2.1")
BARRED = Shape(fill=DISC.fill + "M4.4 7v2h7.2v-2z")
LOCK = Shape(line="M5 7.4v-2.2a3 3 0 0 1 6 0v2.2", fill="M3.2 7.2h9.6v6.8h-9.6z")
PAUSE = Shape(fill="M4 3h3v10h-3zM9 3h3v10h-3z")
PEN = Shape(line="M3.2 12.8l1-3.6l6.6-6.6l2.6 2.6l-6.6 6.6zM9 4.4l2.6 2.6")
ARROW = Shape(fill="M4.2 2.4l9.4 5.6l-9.4 5.6z")

MARKS: dict[str, Mark] = {
    "draft": Mark("Draft", RING),
    "in_review": Mark("In review", HALF, "waiting"),
    "returned": Mark("Returned", BACK, "waiting"),
    "approved": Mark("Approved", DISC, "settled"),
    "superseded": Mark("Superseded", REPLACED, "quiet"),
    "withdrawn": Mark("Withdrawn", STRIKE, "quiet"),
    "planned": Mark("Planned", CLOCK, "waiting"),
    "scheduled": Mark("Scheduled", CLOCK, "waiting"),
    "running": Mark("Under way", ARROW, "waiting"),
    "in_force": Mark("In force", TARGET, "settled"),
    "ended": Mark("Ended", FRAME, "quiet"),
    "stopped": Mark("Stopped", SQUARE, "alarm"),
    "suspended": Mark("Suspended", PAUSE, "waiting"),
    "cancelled": Mark("Cancelled", STRIKE, "quiet"),
    "complete": Mark("Complete", TICK, "settled"),
    "done": Mark("Done", TICK, "settled"),
    "matches": Mark("Matches", TICK, "settled", "Match"),
    "differs": Mark("Differs", WEDGE, "alarm", "Differ"),
    "not_as_signed": Mark("Not as signed", WEDGE, "alarm"),
    "missing": Mark("Missing", BROKEN, "waiting"),
    "to_load": Mark("To load", LOAD, "waiting"),
    "loading": Mark("To load at the bars", LOAD, "waiting"),
    "to_check": Mark("To check", DOT, "waiting"),
    "checked": Mark("Checked", TICK, "settled"),
    "unread": Mark("Not read back", BROKEN, "waiting"),
    "not_read": Mark("Not looked at", BROKEN, "quiet"),
    "within": Mark("Within", TICK, "settled"),
    "outside": Mark("Out of tolerance", WEDGE, "alarm"),
    "low": Mark("Too low", WEDGE, "alarm"),
    "high": Mark("Too high", WEDGE, "alarm"),
    "silent": Mark("Silent", BROKEN, "alarm"),
    "unverified": Mark("Unverified", BROKEN, "waiting"),
    "drifts": Mark("Drifts", ASIDE, "alarm", "Drift"),
    "resting": Mark("Still resting", WEDGE, "waiting"),
    "past": Mark("Past its window", WEDGE, "waiting"),
    "left_out": Mark("Left out", STRIKE, "quiet"),
    "on_permit": Mark("On permit", FLAG, "waiting"),
    "departs": Mark("Departs from its menu", BRANCH, "waiting", "Depart from its menu"),
    "by_hand": Mark("By hand", PEN),
    "empty": Mark("Empty", DASH, "quiet"),
    "open": Mark("Open", DOT, "waiting"),
    "asked_back": Mark("Asked back", BACK, "waiting"),
    "proposed": Mark("To decide", DOT, "waiting"),
    "rejected": Mark("Rejected", CROSS, "quiet"),
    "due": Mark("Due soon", CLOCK, "waiting"),
    "overdue": Mark("Overdue", WEDGE, "alarm"),
    "accepted": Mark("Accepted", TICK, "settled"),
    "permitted": Mark("Permitted", TICK, "settled"),
    "declined": Mark("Declined", CROSS, "quiet"),
    "taken_back": Mark("Taken back", STRIKE, "quiet"),
    "refused": Mark("Refused", BARRED, "alarm"),
    "locked": Mark("Locked", LOCK),
}


def mark_for(code: str) -> Mark:
    """The mark of a state code; an unknown code prints as its own words beside a plain ring."""
    known = MARKS.get(code)
    return known or Mark(code.replace("_", " ").capitalize() or "Not known", RING)
