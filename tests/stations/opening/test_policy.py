"""What a site asks before it opens: who sets it, what the database keeps to, page and endpoint."""

from datetime import time
from typing import Any

import pytest
from django.urls import reverse

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from stations.opening.actions import set_opening
from stations.opening.models import OpeningPolicy
from tests.attacks import refused, sql
from tests.cast import ApiAs, Cast, SignedIn

HOURS: dict[str, Any] = {"counts_from": time(5), "opens_at": time(7, 30)}


def asked(cast: Cast, revision: int = 0, **more: Any) -> OpeningPolicy:  # noqa: ANN401
    wanted: dict[str, Any] = {"shots": 2, **HOURS, **more}
    return set_opening(by=cast.shop_lead, site=cast.site, revision=revision, **wanted)


def test_a_lead_or_an_owner_sets_it_and_the_history_says_so(cast: Cast) -> None:
    policy = asked(cast, slots="3 1,1")
    assert (policy.slots, policy.revision) == ("1,3", 1)
    entry = Entry.objects.filter(table_name="stations_openingpolicy").latest("id")
    assert (entry.action, entry.actor, entry.site_id) == (
        "opening.set", cast.shop_lead.name, cast.site.pk,
    )  # fmt: skip
    again = set_opening(by=cast.owner, site=cast.site, revision=1, shots=0, **HOURS)
    assert (again.shots, again.revision) == (0, 2)
    for person in (cast.barista, cast.technician, cast.other_lead):
        with pytest.raises(NotPermitted):
            set_opening(by=person, site=cast.site, revision=2, shots=1, **HOURS)


def test_what_was_seen_counts(cast: Cast) -> None:
    asked(cast)
    for stale in (0, 2):
        with pytest.raises(Stale):
            asked(cast, stale)


@pytest.mark.parametrize(
    ("field", "value"),
    [("shots", 7), ("shots", -1), ("slots", "0"), ("slots", "one"), ("slots", "33"),
     ("slots", "1;2"), ("opens_at", time(5))],
)  # fmt: skip
def test_what_it_may_not_be(cast: Cast, field: str, value: object) -> None:
    with pytest.raises(Invalid, match=field):
        asked(cast, 0, **{field: value})


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ("shots = 7", "opening_asks_for_a_few_shots"),
        ("slots = '1, 2'", "opening_slots_are_numbers"),
        ("slots = '0'", "opening_slots_are_numbers"),
        ("opens_at = counts_from", "opening_hours_differ"),
    ],
)
def test_the_database_keeps_to_it(cast: Cast, change: str, match: str) -> None:
    asked(cast)
    refused(sql(f"UPDATE stations_openingpolicy SET {change}"), match)


def test_the_page_sets_it(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.shop_lead)
    address = reverse("stations:opening_set", args=[cast.site.pk])
    assert "What counts" in browser.get(address).content.decode()
    sent = {"revision": "0", "shots": "3", "counts_from": "05:00", "opens_at": "7.30", "slots": ""}
    assert browser.post(address, sent).status_code == 302
    policy = OpeningPolicy.objects.get()
    assert (policy.shots, policy.opens_at) == (3, time(7, 30))
    wrong = browser.post(address, {**sent, "revision": "1", "slots": "x"})
    assert wrong.status_code == 400
    assert "3 of each slot by 07:30" in browser.get(cast.site.get_absolute_url()).content.decode()


def test_the_endpoint_reads_and_sets_it(cast: Cast, api_as: ApiAs) -> None:
    api = api_as(cast.shop_lead)
    address = f"/api/v1/sites/{cast.site.code}/opening-check/"
    first = api.get(address)
    assert (first.json()["shots"], first.json()["checks"]) == (0, [])
    body = {"shots": 2, "counts_from": "05:00", "opens_at": "07:00", "slots": "1"}
    for _ in range(2):
        done = api.put(address, body, headers={"If-Match": api.get(address)["ETag"]})
        assert done.status_code == 200, done.content
    assert done.json()["slots"] == "1"
    assert api.put(address, body, headers={"If-Match": first["ETag"]}).status_code == 412
