"""Where a version is in force."""

from collections.abc import Collection, Iterable

from django.db import models
from django.db.models import prefetch_related_objects

from recipes.formula.formula import Formula
from recipes.formula.requirements import lacking
from recipes.versions.models import Version
from stations.equipment.models import Slot, Station
from stations.shots.notes import Notes
from stations.slots.models import ControlSettings, Placement

# What holds an approved version as it is, not bent by what steps in for a time.
SIGNED_FOR_IT = (Placement.Manner.TAKES_OVER, Placement.Manner.RENEWS)


def versions_of(placements: Iterable[Placement]) -> dict[str, Version]:
    """The signed versions that placements hold, by digest, with recipe and formula: two queries."""
    digests = {placement.settings.content_digest for placement in placements} - {""}
    rows = Version.objects.with_recipe().with_formula().signed_as(digests)
    return {version.content_digest: version for version in rows}


def slots_holding(version: Version) -> int:
    """How many slots should hold it now, as published or as translated anew since."""
    placed = Placement.objects.in_force().filter(manner__in=SIGNED_FOR_IT)
    return placed.filter(settings__content_digest=version.content_digest).count()


def slots_of_recipe(recipe_id: int) -> models.QuerySet[Placement, int]:
    """The slots (ids) in which one of its versions is in force, on permit as well."""
    signed = Version.objects.filter(recipe=recipe_id, signature__isnull=False)
    digests = signed.exclude(content_digest="").values("content_digest")
    held = Placement.objects.in_force().filter(settings__content_digest__in=digests)
    return held.values_list("slot_id", flat=True)


def version_in_force(slot: Slot) -> Version | None:
    """The signed version whose settings, translated or on permit, a slot should hold now."""
    placements = Placement.objects.in_force().filter(slot=slot).exclude(settings__content_digest="")
    digests = placements.values("settings__content_digest")
    return Version.objects.signed_as(digests).first()


def approved_for(slot: Slot) -> Version | None:
    """The approved version of the recipe that a slot should hold; None where nothing is signed.

    Not always the version it holds: a newer one may wait to be published.
    """
    placements = Placement.objects.in_force().filter(slot=slot).exclude(settings__content_digest="")
    digests = placements.values("settings__content_digest")
    recipes = Version.objects.signed_as(digests)
    approved: Version | None = (
        Version.objects.approved().filter(recipe__in=recipes.values("recipe")).first()
    )
    return approved


def variants_at(station: Station, versions: Collection[Version]) -> dict[int, int | None]:
    """By version (id), the machine type (id) whose variant a station brews; None: the whole.

    As it was placed there last; of what never was, by what its type of machine can do. At most
    four queries, and none where nothing varies.
    """
    varied = [each for each in versions if each.variants]
    digests = [each.content_digest for each in varied]
    rows = ControlSettings.objects.filter(station=station, content_digest__in=digests)
    placed: dict[str, int | None] = {}
    if varied:
        placed.update(rows.order_by("pk").values_list("content_digest", "variant_id"))
    if set(digests) - placed.keys():
        prefetch_related_objects([station], "machine__machine_type__abilities")
    found: dict[int, int | None] = dict.fromkeys(each.pk for each in versions)
    for each in varied:
        known = each.content_digest in placed
        found[each.pk] = placed[each.content_digest] if known else _by_type(each, station)
    return found


def _by_type(version: Version, station: Station) -> int | None:
    """Whether its type of machine lacks something of the whole formula, and has a variant."""
    of = station.machine.machine_type
    return of.pk if of.pk in version.variants and lacking(version.stated, of) else None


def said_at(station: Station, versions: Collection[Version]) -> dict[int, Formula]:
    """By version (id), the formula that a station brews: the whole one, or a variant."""
    variants = variants_at(station, versions)
    return {each.pk: each.stated_for(variants[each.pk]) for each in versions}


def variants_held(version: Version, slots: Iterable[int]) -> set[int | None]:
    """The machine types (ids) whose variants of it these slots (ids) hold now; None: the whole."""
    held = Placement.objects.in_force().filter(slot__in=slots)
    rows = held.filter(settings__content_digest=version.content_digest)
    return set(rows.values_list("settings__variant_id", flat=True))


def notes_read(content_digest: str, variant: int | None = None) -> Notes | None:
    """What the bar reads of a signed version beside its numbers; None where it is none."""
    rows = Version.objects.with_recipe().with_formula().signed_as([content_digest])
    version = rows.first()
    if version is None:
        return None
    says = version.stated_for(variant)
    grind, basket = (says.of(code).text for code in ("grind_note", "basket"))
    return Notes(str(version.recipe.coffee), grind, basket)
