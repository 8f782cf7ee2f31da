"""A station's check shots under one version, as the shot model's fit takes them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from django.db.models import QuerySet

from recipes.brewing.shot_model.fit import Noise, Pulled
from recipes.brewing.shot_model.parameters import Ending, EndsBy
from recipes.foretelling import setup_of
from recipes.formula import Entry, Formula, stored
from recipes.models import Version
from stations.models import CheckShot, Station

NEWEST = 100  # shots learnt from
FEWEST = 5  # before, a spread can't be told from a change; common practice, no source
# How far shots of one setting lie apart at a bar; common practice, no source. The fit's own
# misfit corrects it, so that only the three to one another matter.
NOISE = Noise(time=0.8, mass=0.5, tds=0.15)

Values = Mapping[str, Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Learnt:
    """A shot, the formula its slot held at that moment, and both as the model takes them."""

    shot: CheckShot
    formula: Formula
    pulled: Pulled


def learnable(station: Station, version: Version) -> QuerySet[CheckShot]:
    """The shots that say something, the newest first."""
    rows = CheckShot.objects.counted().of_content(version.content_digest)
    return rows.filter(slot__station=station).order_by("-id")


def learnt(station: Station, version: Version) -> list[Learnt]:
    """The newest ones, oldest first. Raises QuantityError where the version makes no shot."""
    says = stored(version.formula.all())
    rows = learnable(station, version).select_related("placement__settings")[:NEWEST]
    return [_learnt(shot, says, station) for shot in reversed(rows)]


def _learnt(shot: CheckShot, says: Formula, station: Station) -> Learnt:
    held = held_formula(says, shot.placement.settings.values, station)
    held["dose_mass"] = Entry(shot.dose_mass)
    setup = setup_of(held).setup
    strength = None if shot.strength is None else float(shot.strength)
    time, beverage = float(shot.shot_time), float(shot.beverage_mass)
    if held.get("ends_by", Entry()).text == "operator":
        # It ended where somebody ended it, so that only the time was left to the puck.
        setup = replace(setup, ending=Ending(EndsBy.MASS, beverage))
    return Learnt(shot, held, Pulled(setup, time=time, beverage=beverage, tds=strength))


def held_formula(says: Formula, values: Values, station: Station) -> Formula:
    """The version's formula as this slot was really set: its settings in physical units again."""
    held = dict(says)
    for code, given in values.items():
        if code in {"water_volume", "taper_start"}:
            continue  # in pulses: see below
        if code == "ends_by":
            held[code] = Entry(text=given["value"])
        else:
            held[code] = Entry(Decimal(given["value"]))
    if "brew_temperature" in values and station.temperature_offset is not None:
        shown = Decimal(values["brew_temperature"]["value"])
        held["brew_temperature"] = Entry(shown + station.temperature_offset)
    return held | _counted(values, station)


def _counted(values: Values, station: Station) -> Formula:
    """Water [mL] and the taper's share of it [%] from pulses."""
    slope = station.pulses_per_millilitre
    if slope is None or "water_volume" not in values:
        return {}
    pulses = Decimal(values["water_volume"]["value"])
    found = {"water_volume": Entry(pulses / slope)}
    if "taper_start" in values and pulses:
        found["taper_start"] = Entry(100 * Decimal(values["taper_start"]["value"]) / pulses)
    return found


def covered(found: Sequence[Learnt]) -> dict[str, tuple[Decimal, Decimal]]:
    """From what to what each parameter's target went over the shots."""
    targets: dict[str, list[Decimal]] = {}
    for each in found:
        for code, entry in each.formula.items():
            if entry.target is not None:
                targets.setdefault(code, []).append(entry.target)
    return {code: (min(said), max(said)) for code, said in targets.items()}
