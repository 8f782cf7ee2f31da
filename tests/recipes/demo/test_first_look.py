"""What the demo has for whoever looks at it first."""

import pytest
from django.core.management import call_command
from django.test import Client

from people.persons.models import User
from recipes.menus.departures import standings
from recipes.menus.models import Following
from recipes.permits.models import Permit
from recipes.planning.served import misfits
from recipes.requests.models import ChangeRequest
from recipes.tastings.models import Tasting
from recipes.versions.models import Version
from stations.slots.models import Placement

pytestmark = pytest.mark.django_db


def test_each_of_the_week_s_matters_is_there() -> None:
    call_command("load_demo", verbosity=0)
    _evidence()
    assert {permit.state for permit in Permit.objects.all()} == {"in_force", "ended"}
    over = Permit.objects.get(state="ended")
    assert over.ended_at is not None
    assert over.ended_at < over.ends_at
    departures = [each for one in standings(Following.objects.all()) for each in one.departures]
    assert "permit" in {each.kind for each in departures}
    draft = Version.objects.get(recipe__coffee__name__startswith="Guest")
    assert (draft.state, draft.author.name) == ("draft", "Head roaster")
    _variant()
    _pages(draft)


def _variant() -> None:
    """Whole at one machine of a bar, and its variant at the other; both as they were signed."""
    held = Placement.objects.in_force().filter(settings__title__contains="in stages")
    rows = list(held.select_related("settings__variant", "slot", "signature"))
    names = [str(each.settings.variant or "") for each in rows]
    assert sorted(names) == ["", "Water counted"]
    assert not misfits(rows)


def _evidence() -> None:
    request = ChangeRequest.objects.get(state="open")
    rows, kinds = request.attached.all(), ("shot", "chart")
    assert {kind for row in rows for kind in kinds if getattr(row, kind)} == set(kinds)
    assert Tasting.objects.filter(for_request=request).exists()


def _pages(draft: Version) -> None:
    browser = Client()
    browser.force_login(User.objects.get(email="head-roaster@portaledger.example"))
    for address in ("/recipes/book/", "/recipes/files/", draft.get_absolute_url(), "/menus/"):
        assert browser.get(address).status_code == 200, address
