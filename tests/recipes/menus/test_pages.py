"""From a site's slots to a signed menu and a signed publication, page by page."""

from decimal import Decimal
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from people.persons.models import User
from recipes.menus.following import follow
from recipes.menus.models import Following, Menu, MenuVersion
from recipes.overview.home import Item, work_lists
from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from recipes.versions.review import withdraw
from stations.equipment.models import Site
from stations.slots.models import Placement
from tests.bar import Bar, station
from tests.cast import PASSWORD, SignedIn
from tests.publishing import Publish, send
from tests.recipes.menus import spring
from tests.recipes.publishing.hands import other_version

__all__ = ["send"]
pytestmark = pytest.mark.django_db


def told(browser: Client, path: str, status: int = 200) -> str:
    """What a page says."""
    answer = browser.get(path)
    assert answer.status_code == status, path
    return unescape(answer.content.decode())


def follow_alone(menu: Menu, by: User, name: str) -> None:
    """A new site without a machine, so that no slot of it departs, follows the menu."""
    altitude = Decimal(110)
    site = Site.objects.create(code=name.lower(), name=name, altitude=altitude, time_zone="UTC")
    follow(by=by, site=site, menu=menu, instead_of=None)


def signature(email: str) -> dict[str, str]:
    """What a signer types first."""
    return {"email": email, "password": PASSWORD}


def test_the_whole_way(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    cast, short = bar.cast, other_version(bar)
    run.run(send().pk)
    head, second = signed_in(cast.head_roaster), signed_in(cast.second_roaster)
    added = head.post("/menus/add/", {"name": "Spring", "like": cast.site.pk})
    menu = MenuVersion.objects.get()
    assert added["Location"] == menu.get_absolute_url()
    assert menu.arrangement == {1: bar.version, 2: bar.version}
    edit = f"/menu-versions/{menu.pk}/edit/"
    assert "Double espresso" in told(head, edit)
    typed = {"slot_1": bar.version.pk, "slot_2": short.pk, "note": "Lighter"}
    head.post(edit, {**typed, "revision": menu.revision})
    menu.refresh_from_db()
    head.post(f"/menu-versions/{menu.pk}/submit/", {"revision": menu.revision})
    menu.refresh_from_db()
    approve = f"/menu-versions/{menu.pk}/approve/"
    assert "somebody else signs it" in told(head, approve)
    assert "Lighter" in told(second, approve)
    signed = {**signature(cast.second_roaster.email), "seen_digest": menu.content_digest}
    assert second.post(approve, signed).status_code == 302
    for site in (cast.site, cast.other_site):
        chosen = {"menu": menu.menu_id, "instead_of": ""}
        assert head.post(f"/sites/{site.pk}/menu/", chosen).status_code == 302
    assert Following.objects.count() == 2
    where = f"/menu-versions/{menu.pk}/publish/"
    assert str(cast.other_site) in told(head, where)
    both = f"sites={cast.site.pk}&sites={cast.other_site.pk}"
    plan = head.get(f"{where}?{both}")["Location"]
    shown = told(head, plan)
    assert "Short" in shown
    digest = spring.planned(spring.whole(menu), cast.head_roaster).digest
    order = {**signature(cast.head_roaster.email), "seen_digest": digest, "reason": "Spring",
             "acknowledged": "on"}  # fmt: skip
    done = head.post(plan, order)
    made = Publication.objects.latest("pk")
    assert done["Location"] == made.get_absolute_url()
    run.run(made.pk)
    assert "Menu Spring · version 1" in told(head, made.get_absolute_url())
    assert "Menu Spring · version 1" in told(head, "/publications/")
    assert Placement.objects.in_force().filter(basis_id=made.pk).count() == 4


def test_one_in_review_waits_at_home_for_whoever_may_sign_it(bar: Bar) -> None:
    menu = spring.in_review(bar)
    [waits] = to_sign(bar.cast.second_roaster)
    assert waits.text == f"menu Spring · version 1, by {bar.cast.head_roaster}"
    assert waits.url == f"/menu-versions/{menu.pk}/approve/"
    assert to_sign(bar.cast.head_roaster) == []


def to_sign(user: User) -> list[Item]:
    """The menus that wait for somebody."""
    [lines] = [each.items for each in work_lists(user) if each.title == "Menus to sign"]
    return lines


def test_a_withdrawn_version_is_told_and_refused(bar: Bar, signed_in: SignedIn) -> None:
    menu = spring.approved(bar)
    spring.follows(menu.menu, bar.cast)
    version = Version.objects.get(pk=bar.version.pk)
    by = bar.cast.head_roaster
    withdraw(by=by, version=version, revision=version.revision, reason="Sour")
    head = signed_in(by)
    for path in (menu.get_absolute_url(), menu.menu.get_absolute_url()):
        assert "slot 1 names Morning blend · Double espresso · version 1, which is withdrawn" in (
            told(head, path)
        )
    plan = told(head, f"/menu-versions/{menu.pk}/publish/plan/?sites={bar.cast.site.pk}")
    assert "It can't be signed as it is" in plan
    assert "Sign and publish" not in plan


def test_of_many_sites_that_follow_those_that_depart_come_first_and_names_are_found(
    bar: Bar, signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recipes.menus.pages.SITES", 1)
    menu = spring.approved(bar)
    spring.follows(menu.menu, bar.cast)
    for name in ("Annex", "Quay"):
        follow_alone(menu.menu, bar.cast.head_roaster, name)
    head, path = signed_in(bar.cast.head_roaster), menu.menu.get_absolute_url()
    page = told(head, path)
    assert f">{bar.cast.site}</a>" in page
    assert ">Annex</a>" not in page
    assert "more site" in page
    found = told(head, f"{path}?q=quay")
    assert ">Quay</a>" in found
    assert f">{bar.cast.site}</a>" not in found
    assert "has that in its name" in told(head, f"{path}?q=nowhere")


def test_a_draft_with_a_gap_stays_a_draft_and_says_why(bar: Bar, signed_in: SignedIn) -> None:
    menu = spring.drafted(bar, {})
    menu.refresh_from_db()
    path = f"/menu-versions/{menu.pk}/submit/"
    answer = signed_in(bar.cast.head_roaster).post(path, {"revision": menu.revision})
    assert answer.status_code == 409
    assert "no drink yet" in answer.content.decode()


def test_who_was_slower_is_shown_what_is_stored(bar: Bar, signed_in: SignedIn) -> None:
    menu = spring.drafted(bar)
    typed = {"slot_1": "", "slot_2": "", "note": "Mine", "revision": 1}
    path = f"/menu-versions/{menu.pk}/edit/"
    answer = signed_in(bar.cast.head_roaster).post(path, typed)
    assert answer.status_code == 412
    assert "Mine" in answer.content.decode()


def test_pages_cost_the_same_however_much_there_is(bar: Bar, signed_in: SignedIn) -> None:
    menu = spring.approved(bar)
    spring.follows(menu.menu, bar.cast)
    run.run(spring.sent(menu, bar.cast.head_roaster).pk)
    browser = signed_in(bar.cast.head_roaster)
    paths = {
        "/menus/": 9,
        menu.menu.get_absolute_url(): 15,
        menu.get_absolute_url(): 14,
        f"/menu-versions/{menu.pk}/publish/plan/?sites={bar.cast.site.pk}": 30,
        f"/sites/{bar.cast.site.pk}/menu/": 15,
    }

    def asked() -> dict[str, int]:
        counts = {}
        for path in paths:
            with CaptureQueriesContext(connection) as captured:
                told(browser, path)
            counts[path] = len(captured)
        return counts

    asked()
    few = asked()
    for number in range(3, 9):
        station(bar.stations[0].machine, number, "4.00", slots=2)
    for name in ("Summer", "Autumn", "Winter"):
        spring.approved(bar, {1: bar.version}, name)
    many = asked()
    assert {path: n for path, n in many.items() if n > few[path] + 1} == {}
    assert {path: n for path, n in many.items() if n > paths[path]} == {}
