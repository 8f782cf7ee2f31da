"""Publishing and permitting by a program: the same rules, and the same words, as on pages."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from audit.capture.models import Entry
from people.persons.models import User
from people.tokens.models import Scope
from recipes.publishing import run
from recipes.publishing.models import Publication
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import PASSWORD, ApiAs
from tests.races import at_once
from tests.services import rounds

ROOT = "/api/v1/"


def act(
    client: APIClient, path: str, body: dict[str, Any], etag: str = "", key: str = ""
) -> tuple[int, Any, str]:
    """POST with a fresh idempotency key; status, body and ETag."""
    headers = {"Idempotency-Key": key or uuid4().hex} | ({"If-Match": etag} if etag else {})
    answer = client.post(f"{ROOT}{path}", body, format="json", headers=headers)
    return answer.status_code, answer.json(), answer.headers.get("ETag", "")


def signed(by: User, body: dict[str, Any], digest: str) -> dict[str, Any]:
    words = {"reason": "New crop", "acknowledged": True}
    return {**body, **words, "seen_digest": digest, "email": by.email, "password": PASSWORD}


def everywhere(bar: Bar) -> dict[str, Any]:
    return {"version": bar.version.pk, "where": "all", "slot_numbers": [1]}


@pytest.fixture
def roaster(bar: Bar, api_as: ApiAs) -> APIClient:
    return api_as(bar.cast.head_roaster)


def test_from_plan_to_in_force(bar: Bar, roaster: APIClient) -> None:
    body, site = everywhere(bar), bar.cast.site.pk
    status, plan, _ = act(roaster, "publications/plan/", {**body, "site": site})
    assert status == 200
    assert [slot["settings"]["water_volume"]["value"] for slot in plan["slots"]] == [
        "277", "280", "287",
    ]  # fmt: skip
    assert not Publication.objects.exists()
    status, made, _ = act(
        roaster, "publications/", signed(bar.cast.head_roaster, body, plan["digest"])
    )
    assert (status, made["state"]) == (201, "running")
    run.run(made["id"])
    progress = roaster.get(f"{ROOT}publications/{made['id']}/").json()
    assert progress["state"] == "complete"
    assert sum(row["placed"] for row in progress["sites"]) == 4
    entry = Entry.objects.filter(action="publication.signed", table_name="recipes_publication")
    assert set(entry.values_list("channel", flat=True)) == {"api"}


def test_a_repeated_signature_publishes_once(bar: Bar, roaster: APIClient) -> None:
    body, key = everywhere(bar), uuid4().hex
    digest = act(roaster, "publications/plan/", body)[1]["digest"]
    wanted = signed(bar.cast.head_roaster, body, digest)
    first = act(roaster, "publications/", wanted, key=key)
    assert first == act(roaster, "publications/", wanted, key=key)
    assert Publication.objects.count() == 1


def test_what_is_refused_has_its_reason(bar: Bar, api_as: ApiAs, roaster: APIClient) -> None:
    body, who = everywhere(bar), bar.cast.head_roaster
    status, told, _ = act(roaster, "publications/", signed(who, body, "0" * 64))
    assert (status, told["status"]) == (409, 409)
    assert "plan has moved" in told["detail"]
    digest = act(roaster, "publications/plan/", body)[1]["digest"]
    wrong = signed(who, body, digest) | {"password": "guess"}
    assert act(roaster, "publications/", wrong)[0] == 400
    lead = api_as(bar.cast.shop_lead)
    assert act(lead, "publications/", signed(bar.cast.shop_lead, body, digest))[0] == 403
    reader = api_as(who, Scope.READ)
    assert act(reader, "publications/", signed(who, body, digest))[0] == 403
    assert not Publication.objects.exists()


def test_stop_resume_cancel_as_it_was_read(bar: Bar, roaster: APIClient) -> None:
    day = (datetime.now(UTC) + timedelta(days=5)).date().isoformat()
    body = {**everywhere(bar), "date": day, "time": "06:00"}
    digest = act(roaster, "publications/plan/", body)[1]["digest"]
    made = act(roaster, "publications/", signed(bar.cast.head_roaster, body, digest))[1]
    url, why = f"publications/{made['id']}/", {"reason": "Grinder"}
    stale = roaster.get(f"{ROOT}{url}").headers["ETag"]
    assert act(roaster, f"{url}stop/", why)[0] == 428
    status, stopped, etag = act(roaster, f"{url}stop/", why, stale)
    assert (status, stopped["state"]) == (200, "stopped")
    assert act(roaster, f"{url}resume/", why, stale)[0] == 412
    status, _, etag = act(roaster, f"{url}resume/", why, etag)
    status, _, etag = act(roaster, f"{url}stop/", why, etag)
    status, gone, etag = act(roaster, f"{url}cancel/", why, etag)
    assert (status, gone["state"]) == (200, "cancelled")
    assert [(each["what"], each["reason"]) for each in gone["decisions"]] == [
        ("Cancelled what was left", "Grinder"), ("Stopped", "Grinder"), ("Resumed", "Grinder"),
        ("Stopped", "Grinder"),
    ]  # fmt: skip
    status, told, _ = act(roaster, f"{url}stop/", why, etag)
    assert (status, "only one that is under way" in told["detail"]) == (409, True)
    assert set(Placement.objects.values_list("state", flat=True)) == {"cancelled"}


def test_progress_is_sent_to_whoever_holds_an_older_copy(bar: Bar, roaster: APIClient) -> None:
    """Placing counts slots, and leaves the publication itself at its revision."""
    body, who = everywhere(bar), bar.cast.head_roaster
    digest = act(roaster, "publications/plan/", body)[1]["digest"]
    made = act(roaster, "publications/", signed(who, body, digest))[1]
    url, placed = f"{ROOT}publications/{made['id']}/", list[int]()
    tag = roaster.get(url).headers["ETag"]
    while run.place_batch(made["id"], 1):
        now = roaster.get(url, headers={"If-None-Match": tag})
        assert now.status_code == 200
        placed.append(sum(site["placed"] for site in now.json()["sites"]))
        tag = now.headers["ETag"]
        assert roaster.get(url, headers={"If-None-Match": tag}).status_code == 304
    assert placed == [1, 2, 3, 4]
    assert act(roaster, f"publications/{made['id']}/stop/", {"reason": "Late"}, tag)[0] == 200


def test_a_permit_from_plan_to_end(bar: Bar, roaster: APIClient) -> None:
    who, body = bar.cast.head_roaster, everywhere(bar)
    digest = act(roaster, "publications/plan/", body)[1]["digest"]
    run.run(act(roaster, "publications/", signed(who, body, digest))[1]["id"])
    slot = bar.slots[0]
    ends = (datetime.now(UTC) + timedelta(days=2)).isoformat()
    asked = {"slots": [slot.pk], "changes": {"brew_temperature": "91.5"}, "ends_at": ends}
    # Read by the server's clock it would end seven hours off at the bar up the hill.
    status, told, _ = act(roaster, "permits/plan/", {**asked, "ends_at": ends[:19]})
    assert (status, "with its offset from UTC" in told["detail"]) == (400, True)
    status, plan, _ = act(roaster, "permits/plan/", asked)
    assert (status, plan["slots"][0]["settings"]["brew_temperature"]["value"]) == (200, "92.0")
    status, permit, etag = act(roaster, "permits/", signed(who, asked, plan["digest"]))
    assert (status, permit["changes"]) == (201, {"brew_temperature": "91.5"})
    assert Placement.objects.in_force().get(slot=slot).basis == "permit"
    told = act(roaster, "permits/", signed(who, asked, plan["digest"]))
    assert told[0] == 409
    status, ended, _ = act(roaster, f"permits/{permit['id']}/end/", {"reason": "Mended"}, etag)
    assert (status, ended["state"]) == (200, "ended")
    assert Placement.objects.in_force().get(slot=slot).basis == "publication"


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("quiet")
def test_two_programs_at_once(bar: Bar, api_as: ApiAs) -> None:
    """One publication; the other is told why, and told so in problem details."""
    people = (bar.cast.head_roaster, bar.cast.second_roaster)
    programs, body = [api_as(who) for who in people], everywhere(bar)
    for _ in range(rounds(50, 4)):
        digest = act(programs[0], "publications/plan/", body)[1]["digest"]
        race: list[Callable[[], tuple[int, Any, str]]] = [
            partial(act, program, "publications/", signed(who, body, digest))
            for program, who in zip(programs, people, strict=True)
        ]
        answers = sorted(at_once(race), key=str)
        assert [answer[0] for answer in answers] == [201, 409]  # type: ignore[index]
        (_, made, etag), (_, told, _) = answers  # type: ignore[misc]
        assert "plan has moved" in told["detail"]
        for verb in ("stop", "cancel"):
            url = f"publications/{made['id']}/{verb}/"
            status, _, etag = act(programs[0], url, {"reason": "Next"}, etag)
            assert status == 200
