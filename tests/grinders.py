"""A grinder for tests that need one."""

from decimal import Decimal

from people.persons.models import User
from stations.equipment.models import Station
from stations.grinders.actions import add_grinder
from stations.grinders.models import Grinder


def grinder_of(station: Station, by: User, setting: str = "12", finer: str = "lower") -> Grinder:
    """One that serves this station, standing at that mark."""
    site = station.machine.site
    return add_grinder(
        by=by, site=site, name=f"{site} grinder", finer=finer, stations=[station],
        setting=Decimal(setting), step=Decimal("0.5"), marks_per_turn=Decimal(50),
    )  # fmt: skip
