"""A large chain of bars to measure on: written set-based, as an import would."""

from dataclasses import dataclass
from decimal import Decimal

from django.contrib.auth.hashers import make_password
from django.db import connection

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from people.persons.models import Assignment, User
from recipes.versions.models import Version
from stations.equipment.models import Machine, Site, Slot, Station
from tests.bar import FULL, approved, draft, machine_type
from tests.cast import PASSWORD, ROLES, Cast

MACHINES, STATIONS, SLOTS = 3, 4, 6  # per site, machine and station


@dataclass(frozen=True)
class Chain:
    """The people, and an approved version for every slot."""

    cast: Cast
    version: Version
    sites: int

    @property
    def slots(self) -> int:
        """How many slots there are."""
        return self.sites * MACHINES * STATIONS * SLOTS


def make_chain(sites: int) -> Chain:
    """1,000 sites give 12,000 stations with 72,000 slots; no two stations are alike."""
    with recorded(by=None, action=PERSON_ADDED):
        bars = Site.objects.bulk_create(
            Site(code=f"s{n}", name=f"Bar {n:04}", time_zone="Europe/Lisbon", altitude=Decimal(n))
            for n in range(sites)
        )
        built = machine_type("Full", FULL)
        machines = Machine.objects.bulk_create(
            Machine(site=bar, name=f"Machine {n}", machine_type=built)
            for bar in bars
            for n in range(MACHINES)
        )
        stations = Station.objects.bulk_create(_stations(machines), batch_size=2000)
        Slot.objects.bulk_create(
            [Slot(station=station, number=n + 1) for station in stations for n in range(SLOTS)],
            batch_size=5000,
        )
        cast = _cast(bars)
        version = approved(cast, draft(cast))
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return Chain(cast, version, sites)


def _stations(machines: list[Machine]) -> list[Station]:
    return [
        Station(
            machine=machine,
            number=n + 1,
            pulses_per_millilitre=Decimal(4) + Decimal((at * STATIONS + n) % 9973) / 100_000,
            temperature_offset=Decimal((at + n) % 30) / 10,
        )
        for at, machine in enumerate(machines)
        for n in range(STATIONS)
    ]


def _cast(bars: list[Site]) -> Cast:
    password = make_password(PASSWORD)
    people = User.objects.bulk_create(
        User(email=f"{name}@example.com", name=name, password=password) for name in ROLES
    )
    Assignment.objects.bulk_create(
        Assignment(user=person, role=role)
        for person, (role, _) in zip(people, ROLES.values(), strict=True)
    )
    members = dict(zip(ROLES, people, strict=True))
    return Cast(**members, site=bars[0], other_site=bars[1])
