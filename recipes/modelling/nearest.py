"""Whose fit a prediction is made with: the station's own, or the nearest one's, and why that one.

A fit says how one coffee's puck behaves: another coffee, dose, basket or grind is another puck, and
no fit of it is used. Pressure, temperature and water may differ, since the model knows them.
Nearest, in this order: the station's own; one on the same type of machine; of the same site; of
this very version; the newest.
"""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, prefetch_related_objects

from people.persons.models import User
from recipes.formula.formula import Formula
from recipes.modelling.models import ShotFit
from recipes.modelling.puck import other_puck
from recipes.versions.holding import said_at
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.equipment.replaced import ENDS_BASELINES, Replacement

LOOKED_AT = 200  # the newest fits of a coffee, among which the nearest is


@dataclass(frozen=True, slots=True)
class Whose:
    """A fit that may be used, and how far it is from the station and version it is wanted for."""

    fit: ShotFit
    own_station: bool
    own_version: bool
    same_type: bool
    same_site: bool

    def words(self, station: Station | None) -> list[str]:
        """Whose it is and what of it differs, in sentences; nothing where it is its own."""
        fit, place = self.fit, self.fit.station
        told = []
        if not self.own_station:
            at = f"{place.machine.site}, {place.machine}, station {place.number}"
            told.append(
                f"{station} has no fit: this is the fit of the nearest station, {at}."
                if station
                else f"No station is chosen: this is the newest fit, of {at}."
            )
            if station and not self.same_type:
                told.append("Its machine is of another type: another pump and other pipes.")
        if not self.own_version:
            told.append(
                f"Fitted under {fit.version}, and carried over: coffee, dose, basket and grind"
                " are what a fit rests on, and they are unchanged."
            )
        return told


def nearest_fit(user: User, version: Version, station: Station | None = None) -> Whose | None:
    """The fit to predict this version with at the station, or anywhere where none is chosen.

    Of those this person may see; None where no fit of such a puck is there.
    """
    formula = said_at(station, [version])[version.pk] if station else version.stated
    found = [_whose(fit, version, station) for fit in usable(user, version, formula)]
    return min(found, key=_distance, default=None)


def _whose(fit: ShotFit, version: Version, station: Station | None) -> Whose:
    machine = fit.station.machine
    here = station.machine if station else None
    return Whose(
        fit,
        own_station=station is not None and fit.station_id == station.pk,
        own_version=fit.version_id == version.pk,
        same_type=here is not None and machine.machine_type_id == here.machine_type_id,
        same_site=here is not None and machine.site_id == here.site_id,
    )


def _distance(one: Whose) -> tuple[int, ...]:
    near = (one.own_station, one.same_type, one.same_site, one.own_version)
    return (*(int(not each) for each in near), -one.fit.pk)


def usable(user: User, version: Version, formula: Formula) -> list[ShotFit]:
    """Fits of the same coffee, dose, basket and grind, whose pump and meter are still there.

    ``formula`` is what the version says where the fit is wanted.
    """
    replaced = Replacement.objects.filter(
        Q(station=OuterRef("station")) | Q(machine=OuterRef("station__machine")),
        part__in=ENDS_BASELINES, at__gte=OuterRef("newest_shot__at"),
    )  # fmt: skip
    rows = ShotFit.objects.covered_by(user).done().with_place()
    rows = rows.filter(~Exists(replaced), version__recipe__coffee=version.recipe.coffee_id)
    rows = rows.select_related("newest_shot__placement__settings").order_by("-id")
    fits = list(rows[:LOOKED_AT])
    prefetch_related_objects([one.version for one in fits if _variant(one)], "variant_values")
    return [fit for fit in fits if not other_puck(_fitted(fit), formula)]


def _variant(fit: ShotFit) -> int | None:
    """The machine type (id) by whose variant its newest shot was poured; None: the whole."""
    shot = fit.newest_shot
    return shot.placement.settings.variant_id if shot else None


def _fitted(fit: ShotFit) -> Formula:
    """What was poured for it; the whole where the newest shot's version alone has that variant."""
    return fit.version.stated_for(_variant(fit)) or fit.version.stated


def why_none(version: Version, station: Station) -> str:
    """Why the station's own earlier fit is not used, such as another dose; empty without one."""
    rows = ShotFit.objects.done().filter(station=station, version__recipe=version.recipe_id)
    last = rows.exclude(version=version).select_related("version").first()
    if last is None:
        return ""
    prefetch_related_objects([last.version], "formula", "variant_values")
    said = said_at(station, [last.version, version])
    told = other_puck(said[last.version_id], said[version.pk])
    return (
        f"{', '.join(one.words for one in told)} since version {last.version.number}"
        if told
        else ""
    )
