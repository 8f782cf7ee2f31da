"""Where a version is in force."""

from recipes.models import Version
from stations.models import Placement


def slots_holding(version: Version) -> int:
    """How many slots should hold it now by a publication."""
    publications = version.publications.values("pk")
    placed = Placement.objects.in_force().filter(basis=Placement.Basis.PUBLICATION)
    return placed.filter(basis_id__in=publications).count()
