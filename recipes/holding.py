"""Where a version is in force."""

from recipes.models import Version
from stations.models import Placement, Slot


def slots_holding(version: Version) -> int:
    """How many slots should hold it now by a publication."""
    publications = version.publications.values("pk")
    placed = Placement.objects.in_force().filter(basis=Placement.Basis.PUBLICATION)
    return placed.filter(basis_id__in=publications).count()


def approved_for(slot: Slot) -> Version | None:
    """The approved version of the recipe that a slot should hold; None where nothing is signed.

    Not always the version it holds: a newer one may wait to be published.
    """
    held = Placement.objects.in_force().filter(slot=slot).exclude(settings__content_digest="")
    digests = held.values("settings__content_digest")
    recipes = Version.objects.filter(content_digest__in=digests, signature__isnull=False)
    approved: Version | None = (
        Version.objects.approved().filter(recipe__in=recipes.values("recipe")).first()
    )
    return approved
