"""Comparing what a slot was found to hold with what it should hold."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal

from audit.errors import Problem
from stations.machine_types.catalogue import ENDINGS, printed, unit_of, word_of
from stations.metrology.formula import ENDS_BY
from stations.slots.models import Placement, ReadBack
from web.checks import outside
from web.numbers import BadNumber, Bounds, read_number


@dataclass(frozen=True, slots=True)
class SettingLine:
    """One setting beside what was found, for pages; ``verdict`` is empty before a read-back."""

    code: str
    label: str
    should: str
    found: str
    unit: str
    verdict: str


MATCHES, DIFFERS, MISSING = "matches", "differs", "missing"
NOT_READ = "not_read"  # nobody looked at that one: no difference, and no match either
Values = Mapping[str, Mapping[str, str]]


def found_bounds(unit: str) -> Bounds:
    """What can be read off a machine at all. Wide: a slot may hold anything, and that counts."""
    return Bounds(Decimal(0), Decimal(100_000), unit=unit)


def read_found(expected: Values, found: Mapping[str, str]) -> tuple[dict[str, str], list[Problem]]:
    """What was typed or reported, tidied, and what of it can't be used.

    An empty value is left out: the slot shows nothing there.
    """
    kept: dict[str, str] = {}
    problems: list[Problem] = []
    for code, given in found.items():
        text = str(given if given is not None else "").strip()
        problem = _fault(expected, code, text) if text else None
        if problem:
            problems.append(problem)
        elif text:
            kept[code] = text
    return kept, problems


def _fault(expected: Values, code: str, text: str) -> Problem | None:
    known = expected.get(code)
    if known is None:
        return Problem(code, text, f"one of the slot's settings: {', '.join(expected)}")
    if code == ENDS_BY:
        return None if text in ENDINGS else Problem(code, text, f"one of {', '.join(ENDINGS)}")
    bounds = found_bounds(known.get("unit") or unit_of(code))
    try:
        read_number(text, bounds)
    except BadNumber:
        return outside(code, text, bounds)
    return None


def compare(
    expected: Values, found: Mapping[str, str], *, unread: Collection[str] = ()
) -> dict[str, str]:
    """A verdict for every expected setting; numbers as numbers, so 18 matches 18.0.

    What is left out of ``found`` the slot does not hold, but for the codes in ``unread``.
    """
    return {
        code: NOT_READ
        if code in unread and code not in found
        else _verdict(code, given["value"], found.get(code))
        for code, given in expected.items()
    }


def _verdict(code: str, should: str, found: str | None) -> str:
    if found is None:
        return MISSING
    return MATCHES if same(code, should, found) else DIFFERS


def same(code: str, should: str, found: str | None) -> bool:
    """Whether what was found is what should be there; nothing found is not."""
    if found is None:
        return False
    return found == should if code == ENDS_BY else read_number(found) == Decimal(should)


def overall(verdicts: Mapping[str, str]) -> str:
    """A slot matches only if every setting does: one that is missing is one that differs.

    ``unread`` where nothing differs and something was not looked at.
    """
    if all(v == MATCHES for v in verdicts.values()):
        return MATCHES
    known = {v for v in verdicts.values() if v != NOT_READ}
    return Placement.Verdict.UNREAD.value if known <= {MATCHES} else DIFFERS


def lines_of(expected: Values, read_back: ReadBack | None) -> list[SettingLine]:
    """Every expected setting beside what that read-back found."""
    found = read_back.found if read_back else {}
    verdicts = read_back.verdicts if read_back else {}
    return [
        SettingLine(
            code=row.code,
            label=row.label,
            should=row.value,
            found=word_of(row.code, found.get(row.code, "")),
            unit=row.unit,
            verdict=verdicts.get(row.code, ""),
        )
        for row in printed(expected)
    ]
