"""A site's share of a plan as a table: a line for each station, one column a parameter."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import groupby

from recipes.planning.plan import Outcome
from recipes.publishing.plan import PublicationLine, PublicationPlan
from recipes.station_water.cup import Expected
from recipes.translation.translating import Values
from recipes.versions.complete import names_of
from stations.equipment.models import Site
from stations.machine_types.catalogue import Printed, by_code, in_order, label_of
from stations.slots.models import ControlSettings

REASONS = 2  # of one line; the machine's own line has more of them


@dataclass(frozen=True, slots=True)
class Cell:
    """One parameter of one station: what it gets, and what stands there now if that differs.

    Empty strings: not set.
    """

    code: str
    label: str
    value: str
    unit: str
    before: str = ""
    changed: bool = False


@dataclass(frozen=True)
class StationRow:
    """Slots of one station that fare alike."""

    lines: list[PublicationLine]
    cells: list[Cell]
    expected: Expected | None
    variant: str = ""  # the machine type for whose variant they are

    @property
    def line(self) -> PublicationLine:
        """The first of them."""
        return self.lines[0]

    @property
    def place(self) -> str:
        """'Front counter · station 1 · slot 1, 2'."""
        slot, numbers = self.line.slot, ", ".join(str(line.slot.number) for line in self.lines)
        return f"{slot.machine} · station {slot.station_number} · slot {numbers}"

    @property
    def held(self) -> list[str]:
        """What they should hold now, each once."""
        return list(dict.fromkeys(line.held.title for line in self.lines if line.held))

    @property
    def reasons(self) -> list[str]:
        """Why they are refused, as many as somebody reads."""
        return [*self.line.reasons[:REASONS]]

    @property
    def more_reasons(self) -> int:
        """How many are left out of them."""
        return max(0, len(self.line.reasons) - REASONS)

    @property
    def permits(self) -> list[int]:
        """Deviation permits that end here."""
        held = (line.held for line in self.lines if line.outcome is Outcome.PLACE)
        return sorted({each.permit_id for each in held if each and each.permit_id})


@dataclass(frozen=True)
class SiteTable:
    """The slots of one site, and what was flagged there."""

    site: Site
    columns: list[str]
    rows: list[StationRow]
    flags: list[str]


def site_tables(plan: PublicationPlan, sites: Iterable[int]) -> list[SiteTable]:
    """Every slot of these sites, held against what stands there now: one query.

    One more where a station gets a variant.
    """
    wanted = set(sites)
    lines = [line for line in plan.lines if line.slot.site_id in wanted]
    ids = {line.held.settings_id for line in lines if line.held}
    held = dict(ControlSettings.objects.filter(pk__in=ids).values_list("pk", "values"))
    types = names_of({each.variant for each in plan.stations.values() if each.variant})
    return [
        _table(plan, plan.sites[pk], list(here), held, types)
        for pk, here in groupby(lines, key=lambda line: line.slot.site_id)
    ]


def _table(
    plan: PublicationPlan, site: Site, lines: list[PublicationLine],
    held: Mapping[int, Values], types: Mapping[int, str],
) -> SiteTable:  # fmt: skip
    stations = {line.slot.station_id for line in lines}
    codes = in_order(
        {code: None for pk in stations for code in plan.stations[pk].values}
        | {code: None for line in lines if line.held for code in held[line.held.settings_id]}
    )
    rows = [
        replace(row, variant=types.get(plan.stations[row.line.slot.station_id].variant or 0, ""))
        for _, alike in groupby(lines, key=lambda line: _fares(line, held))
        for row in [_row(plan, list(alike), codes, held)]
    ]
    flags = sorted({_sentence(flag) for pk in stations for flag in plan.stations[pk].flags})
    return SiteTable(site, [label_of(code) for code in codes], rows, flags)


def _fares(line: PublicationLine, held: Mapping[int, Values]) -> tuple[object, ...]:
    """What slots of one row have in common; of those that are refused, only why."""
    if line.outcome is Outcome.REFUSE:
        return line.slot.station_id, line.outcome, line.facts
    now = line.held
    values = str(held[now.settings_id]) if now else None
    return line.slot.station_id, line.outcome, line.facts, now and now.title, values


def _row(
    plan: PublicationPlan, lines: list[PublicationLine], codes: list[str],
    held: Mapping[int, Values],
) -> StationRow:  # fmt: skip
    station, now = plan.stations[lines[0].slot.station_id], lines[0].held
    after = by_code(station.values)
    before = by_code(held[now.settings_id]) if now else {}
    cells = [_cell(code, after.get(code), before.get(code), was=now is not None) for code in codes]
    return StationRow(lines, cells, station.expected)


def _cell(code: str, after: Printed | None, before: Printed | None, *, was: bool) -> Cell:
    known = after or before
    if known is None:
        return Cell(code, label_of(code), "", "")
    new, old = (each.value if each else "" for each in (after, before))
    return Cell(code, known.label, new, known.unit, old, changed=was and new != old)


def _sentence(flag: str) -> str:
    """One or several sentences; the last of some comes without its full stop."""
    return flag.rstrip(".") + "."
