"""Equipment at the cast's two bars, and an approved recipe to send there."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

import pytest

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from recipes.coffees.models import Coffee, Recipe
from recipes.variants.models import VariantValue
from recipes.versions.digest import content_digest
from recipes.versions.models import FormulaValue, Version
from stations.equipment.models import Machine, Slot, Station
from stations.machine_types.models import Ability, MachineType
from tests.cast import Cast

FULL = {
    "water_volume": ("20", "2000", "1"),
    "brew_temperature": ("85", "98", "0.1"),
    "preinfusion_time": ("0", "20", "0.1"),
    "preinfusion_pressure": ("0", "6", "0.1"),
    "rise_time": ("0", "10", "0.1"),
    "intermediate_pressure": ("1", "10", "0.1"),
    "brew_pressure": ("4", "10", "0.1"),
    "taper_start": ("20", "2000", "1"),
    "taper_pressure": ("1", "10", "0.1"),
}
PLAIN = {"water_volume": ("20", "2000", "1"), "brew_temperature": ("88", "95", "0.5")}

# An ordinary double: common practice, no source.
DOUBLE: Mapping[str, tuple[str, str | None, str | None]] = {
    "dose_mass": ("18.0", "0.2", "0.2"),
    "beverage_mass": ("36.0", "2", "2"),
    "shot_time": ("28", "3", "3"),
    "water_volume": ("70", "2", "2"),
    "brew_temperature": ("93.0", "0.5", "0.5"),
}


@dataclass(frozen=True)
class Bar:
    """Three stations of two slots at the harbour (one machine sets less), one up the hill."""

    full: MachineType
    plain: MachineType
    stations: tuple[Station, ...]
    version: Version
    cast: Cast

    @property
    def slots(self) -> list[Slot]:
        """Every slot, in order."""
        return list(Slot.objects.order_by("pk"))


def machine_type(name: str, table: Mapping[str, tuple[str, str, str]]) -> MachineType:
    """Abilities from a table of minimum, maximum and resolution."""
    made = MachineType.objects.create(name=name, ends_by=["operator", "volume"])
    Ability.objects.bulk_create(
        Ability(
            machine_type=made,
            parameter=code,
            minimum=Decimal(low),
            maximum=Decimal(high),
            resolution=Decimal(step),
        )
        for code, (low, high, step) in table.items()
    )
    return made


def station(machine: Machine, number: int, pulses: str, slots: int = 2) -> Station:
    """A station whose flow meter gives so many pulses per mL."""
    made = Station.objects.create(
        machine=machine,
        number=number,
        pulses_per_millilitre=Decimal(pulses),
        temperature_offset=Decimal("-0.5"),
    )
    Slot.objects.bulk_create(Slot(station=made, number=n) for n in range(1, slots + 1))
    return made


def draft(
    cast: Cast,
    formula: Mapping[str, tuple[str, str | None, str | None]] = DOUBLE,
    recipe: Recipe | None = None,
) -> Version:
    """A draft by the head roaster with this formula, ending by volume."""
    if recipe is None:
        coffee = Coffee.objects.create(name="Morning blend", rest_from=7, rest_to=28)
        recipe = Recipe.objects.create(coffee=coffee, drink="Double espresso")
    number = recipe.versions.count() + 1
    who = cast.head_roaster
    made = Version.objects.create(recipe=recipe, number=number, author=who, last_editor=who)
    FormulaValue.objects.bulk_create(
        FormulaValue(
            version=made,
            code=code,
            target=Decimal(target),
            below=Decimal(below) if below else None,
            above=Decimal(above) if above else None,
        )
        for code, (target, below, above) in formula.items()
    )
    FormulaValue.objects.create(version=made, code="ends_by", text="volume")
    return made


def vary(version: Version, machine_type: MachineType) -> Version:
    """A draft with a variant: less in the cup on machines of this type, without the action."""
    said = {**DOUBLE, "beverage_mass": ("34.0", "3", "3")}
    VariantValue.objects.bulk_create(
        VariantValue(
            version=version, machine_type=machine_type, code=code, target=Decimal(target),
            below=Decimal(below or 0), above=Decimal(above or 0),
        )
        for code, (target, below, above) in said.items()
    )  # fmt: skip
    VariantValue.objects.create(
        version=version, machine_type=machine_type, code="ends_by", text="volume"
    )
    return version


def approved(cast: Cast, version: Version) -> Version:
    """The draft, put through review and signed by the second roaster, without the actions."""
    version.refresh_from_db()
    version.recipe.versions.filter(state="approved").update(state="superseded")
    version.content_digest = content_digest(version)
    version.state = Version.State.IN_REVIEW
    version.save()
    version.signature = Signature.objects.create(
        user=cast.second_roaster,
        name=cast.second_roaster.name,
        role=Role.HEAD_ROASTER,
        meaning=Meaning.APPROVED,
        digest=version.content_digest,
        subject_type="version",
        subject_id=version.pk,
    )
    version.state = Version.State.APPROVED
    version.save()
    return version


def make_bar(cast: Cast) -> Bar:
    """Two bars' equipment and an approved recipe, written to the database."""
    with recorded(by=None, action=PERSON_ADDED):
        full, plain = machine_type("Full", FULL), machine_type("Plain", PLAIN)
        first = Machine.objects.create(site=cast.site, name="Front", machine_type=full)
        second = Machine.objects.create(site=cast.site, name="Back", machine_type=plain)
        high = Machine.objects.create(site=cast.other_site, name="Counter", machine_type=full)
        stations = (
            station(first, 1, "4.00"),
            station(first, 2, "4.10"),
            station(second, 1, "3.95"),
            station(high, 1, "4.05"),
        )
        version = approved(cast, draft(cast))
    return Bar(full, plain, stations, version, cast)


@pytest.fixture
def bar(cast: Cast) -> Bar:
    """Two bars' equipment and an approved recipe."""
    return make_bar(cast)
