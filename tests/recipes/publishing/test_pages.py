"""Publishing in a browser: where, plan, signature, progress, stop."""

from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from recipes.publishing import run
from recipes.publishing.actions import resume, stop
from recipes.publishing.models import Publication
from stations.replacements.actions import Place, replace_part
from tests.bar import Bar
from tests.cast import PASSWORD, SignedIn
from tests.publishing import Publish

SIGN = {"password": PASSWORD, "reason": "New crop", "acknowledged": "on"}


def body(response: Any) -> str:  # noqa: ANN401
    """The page as text."""
    return str(response.content, "utf-8")


@pytest.fixture
def roaster(bar: Bar, signed_in: SignedIn) -> Client:
    """The head roaster's browser."""
    return signed_in(bar.cast.head_roaster)


def plan_url(bar: Bar, query: str = "where=all&slots=1") -> str:
    return f"/versions/{bar.version.pk}/publish/plan/?{query}"


def sign(browser: Client, bar: Bar, url: str, **more: str) -> Any:  # noqa: ANN401
    seen = browser.get(url).context["form"].initial["seen_digest"]
    who = {"email": bar.cast.head_roaster.email, "seen_digest": seen}
    return browser.post(url, SIGN | who | more)


def test_scope_leads_to_the_plan(roaster: Client, bar: Bar) -> None:
    page = roaster.get(f"/versions/{bar.version.pk}/publish/", {"where": "all", "slots": "1"})
    assert page.status_code == 302
    assert page.url.endswith("/publish/plan/?where=all&slots=1")  # type: ignore[attr-defined]


def test_machines_are_picked_within_the_sites_chosen(
    roaster: Client, bar: Bar, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where there are too many to tick at once."""
    monkeypatch.setattr("recipes.publishing.forms.AT_ONCE", 3)
    url = f"/versions/{bar.version.pk}/publish/"
    page = roaster.get(url, {"where": "machines", "sites": str(bar.cast.site.pk)})
    assert "Harbour · Back" in body(page)
    assert "Counter" not in body(page)


def test_the_plan_shows_settings_and_refusals(roaster: Client, bar: Bar) -> None:
    station = bar.stations[3]
    replace_part(
        by=bar.cast.head_roaster, place=Place(station.machine.site, station=station), seen=None,
        part="flow_meter", at=timezone.now(), reason="Worn",
    )  # fmt: skip
    page = body(roaster.get(plan_url(bar)))
    assert "280" in page
    assert "pulses" in page
    assert "calibrat" in page


def test_signing_starts_it(roaster: Client, bar: Bar) -> None:
    answer = sign(roaster, bar, plan_url(bar))
    assert answer.status_code == 302
    publication = Publication.objects.get()
    run.run(publication.pk)
    page = body(roaster.get(publication.get_absolute_url()))
    assert "4 of 4" in page


def test_a_wrong_password_signs_nothing_and_keeps_the_reason(roaster: Client, bar: Bar) -> None:
    answer = sign(roaster, bar, plan_url(bar), password="wrong")
    assert answer.status_code == 400
    assert "New crop" in body(answer)
    assert not Publication.objects.exists()


def test_bad_slot_numbers_are_named(roaster: Client, bar: Bar) -> None:
    for slots in ("one", "0", "1.5", "-1", "9999", "²"):
        page = roaster.get(plan_url(bar, f"where=all&slots={slots}"))
        assert page.status_code == 400, slots
        assert "whole numbers from 1 to 99" in body(page), slots


def test_stop_resume_cancel(roaster: Client, bar: Bar, send: Publish) -> None:
    publication = send()
    for verb, state in (
        ("stop", "stopped"),
        ("resume", "running"),
        ("stop", "stopped"),
        ("cancel", "cancelled"),
    ):
        url = f"{publication.get_absolute_url()}{verb}/"
        page = roaster.get(url)
        assert page.status_code == 200
        seen = {"revision": page.context["form"]["revision"].value()}
        assert roaster.post(url, {**seen, "reason": ""}).status_code == 400
        assert roaster.post(url, {"reason": "Grinder broke"}).status_code == 400
        assert roaster.post(url, {**seen, "reason": "Grinder broke"}).status_code == 302
        publication.refresh_from_db()
        assert publication.state == state
    late = {"reason": "x", "revision": publication.revision}
    assert roaster.post(f"{publication.get_absolute_url()}stop/", late).status_code == 409


def test_a_decision_about_what_moved_on_is_shown_again(
    roaster: Client, bar: Bar, send: Publish
) -> None:
    """With what was typed, and the revision it is about the next time."""
    publication, head = send(), bar.cast.head_roaster
    url, old = f"{publication.get_absolute_url()}stop/", publication.revision
    for act in (stop, resume):
        act(by=head, publication=publication, revision=publication.revision, reason="Grinder")
    page = roaster.post(url, {"reason": "Burnt roast", "revision": old})
    assert page.status_code == 412
    assert "changed meanwhile" in body(page)
    assert "Burnt roast" in body(page)
    seen = page.context["form"]["revision"].value()
    assert roaster.post(url, {"reason": "Burnt roast", "revision": seen}).status_code == 302
    publication.refresh_from_db()
    assert publication.state == "stopped"


def test_the_progress_part_stands_alone(roaster: Client, bar: Bar, send: Publish) -> None:
    page = roaster.get(f"{send().get_absolute_url()}progress/")
    assert "<html" not in body(page)
    assert "0 of 8" in body(page)


def test_the_list_of_publications(roaster: Client, bar: Bar, send: Publish) -> None:
    send()
    assert "Morning blend" in body(roaster.get("/publications/"))


def test_a_shop_lead_sees_only_their_site(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    page = body(signed_in(bar.cast.shop_lead).get(send().get_absolute_url()))
    assert "Harbour" in page
    assert "Upland</a>" not in page
    assert signed_in(bar.cast.shop_lead).get(plan_url(bar)).status_code == 403
