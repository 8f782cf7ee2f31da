"""From cells to values: each line on its own."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from stations.actions.sites import check_code
from stations.checks import ALTITUDE, OFFSET, PULSES, SLOT_COUNT, STATION_NUMBER, Checks
from stations.importing.faults import Fault
from stations.importing.reading import Cells


@dataclass(frozen=True, slots=True)
class Line:
    """One station as the file gives it; None or empty where the cell was empty."""

    number: int
    site_code: str
    site_name: str
    time_zone: str
    altitude: Decimal | None
    machine: str
    abilities: str
    station: int
    slots: int
    pulses: Decimal | None
    offset: Decimal | None


def read_values(lines: Sequence[tuple[int, Cells]]) -> tuple[list[Line], list[Fault]]:
    """The lines whose values can be used, and what is wrong with the others."""
    good: list[Line] = []
    faults: list[Fault] = []
    for number, cells in lines:
        checks = Checks()
        line = _line(number, cells, checks)
        if checks.problems:
            faults += [Fault(number, p.field, p.value, p.allowed) for p in checks.problems]
        else:
            good.append(line)
    return good, faults


def _line(number: int, cells: Cells, checks: Checks) -> Line:
    def text(field: str) -> str:
        return checks.text(field, cells[field]) if cells[field] else ""

    return Line(
        number=number,
        site_code=check_code(checks, "site_code", cells["site_code"]),
        site_name=text("site_name"),
        time_zone=checks.zone("time_zone", cells["time_zone"]) if cells["time_zone"] else "",
        altitude=checks.number_or_none("altitude_m", cells["altitude_m"], ALTITUDE),
        machine=checks.text("machine", cells["machine"]),
        abilities=text("abilities"),
        station=checks.whole("station", cells["station"], STATION_NUMBER),
        slots=checks.whole("slots", cells["slots"], SLOT_COUNT),
        pulses=checks.number_or_none("pulses_per_ml", cells.get("pulses_per_ml"), PULSES),
        offset=checks.number_or_none(
            "temperature_offset_c", cells.get("temperature_offset_c"), OFFSET
        ),
    )
