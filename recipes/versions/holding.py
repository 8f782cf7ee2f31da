"""Where a version is in force."""

from collections.abc import Iterable

from django.db import models

from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.shots.notes import Notes
from stations.slots.models import Placement

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


def notes_read(content_digest: str) -> Notes | None:
    """What the bar reads of a signed version beside its numbers; None where it is none."""
    rows = Version.objects.with_recipe().with_formula().signed_as([content_digest])
    version = rows.first()
    if version is None:
        return None
    says = version.stated
    grind, basket = (says.of(code).text for code in ("grind_note", "basket"))
    return Notes(str(version.recipe.coffee), grind, basket)
