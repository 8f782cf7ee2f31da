"""A registry filled by the tests, in place of what the apps say about themselves."""

from datetime import UTC, datetime

import pytest

from audit import registry as module
from audit.reading.choosing import lookup_in
from audit.registry import Registry, SignatureShown, SiteShown, SubjectKind
from people.persons.models import User
from stations.equipment.models import Site
from tests.cast import Cast

SIGNED = SignatureShown(
    "Head roaster", "head roaster", "Approved", datetime(2026, 8, 1, 12, tzinfo=UTC), "ab" * 32
)


def find_site(text: str) -> list[tuple[int, str]]:
    return list(Site.objects.filter(name__icontains=text).values_list("pk", "name"))


@pytest.fixture
def desk(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Registry:
    """Sites, people, parameters and signatures as the pages need them."""
    filled = Registry(
        subjects={
            "site": SubjectKind("site", "Site", "stations:site", find_site),
            "shelf": SubjectKind("shelf", "Shelf"),
        },
        sites=lambda ids: {
            s.pk: SiteShown(s.name, s.time_zone) for s in Site.objects.filter(pk__in=ids)
        },
        site_names=lookup_in(Site.objects.all),
        people_names=lookup_in(User.objects.all, everywhere=True),
        parameters=lambda: [("mass", "Mass"), ("brew_temperature", "Brew temperature")],
        signature=lambda pk: SIGNED if pk == 4 else None,
        signed=lambda ids: {4: SIGNED} if 4 in ids else {},
    )
    for name, value in vars(filled).items():
        monkeypatch.setattr(module.registry, name, value)
    return filled
