"""Evidence by tap: check shots and read-backs from where they are seen, into a request."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.publishing import run
from recipes.requests.actions import add_evidence, change_request, make_request, take_back
from recipes.requests.evidence import RECENT, Attached, held_by
from recipes.requests.models import ChangeRequest, RequestEvidence
from stations.equipment.models import Slot
from stations.metrology.formula import Stated
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import read_back
from tests.attacks import refused, sql
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.calling import ROOT, act, etag, put
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send

__all__ = ["send"]
PULLED = Weighed(Decimal("18.0"), Decimal("41.5"), Decimal(22))
COOLER = {"brew_temperature": Stated(Decimal("92.0"))}


@pytest.fixture
def poured(bar: Bar, send: Publish) -> Bar:
    run.run(send().pk)
    return bar


def shot(bar: Bar, slot: Slot) -> CheckShot:
    return log_shot(by=bar.cast.head_roaster, slot=slot, shot=PULLED)


def read(bar: Bar, slot: Slot) -> ReadBack:
    held = Placement.objects.get(slot=slot, state="in_force")
    found = {code: given["value"] for code, given in held.settings.values.items()}
    return read_back(by=bar.cast.head_roaster, slot=slot, seen_placement=held.pk, found=found)


def asked(bar: Bar, attached: Attached | None = None) -> ChangeRequest:
    return make_request(
        by=bar.cast.shop_lead, base=bar.version, site=bar.cast.site, proposals=COOLER,
        reason="Sharp", attached=attached,
    )  # fmt: skip


def test_a_request_points_to_what_was_measured(poured: Bar) -> None:
    pulled, seen = shot(poured, poured.slots[0]), read(poured, poured.slots[0])
    named = Attached.of([pulled.pk], [seen.pk])
    request = asked(poured, named)
    assert held_by(request) == named
    more = shot(poured, poured.slots[1])
    changed = change_request(
        by=poured.cast.shop_lead, request=request, revision=request.revision, proposals=COOLER,
        reason="Sharp", attached=Attached.of([more.pk]),
    )  # fmt: skip
    assert held_by(changed) == Attached.of([more.pk])
    added = add_evidence(
        by=poured.cast.shop_lead, request=changed, revision=changed.revision,
        attached=Attached.of([pulled.pk]),
    )  # fmt: skip
    assert held_by(added) == Attached.of([more.pk, pulled.pk])
    assert added.revision == changed.revision + 1  # who decides looks again
    kept = change_request(
        by=poured.cast.shop_lead, request=added, revision=added.revision, proposals=COOLER,
        reason="Very sharp",
    )  # fmt: skip
    assert held_by(kept) == held_by(added)


def test_what_is_refused(poured: Bar) -> None:
    cast, pulled = poured.cast, shot(poured, poured.slots[0])
    away = shot(poured, poured.slots[-1])
    with pytest.raises(Invalid, match="shots"):
        asked(poured, Attached.of([away.pk]))
    with pytest.raises(Invalid, match="read_backs"):
        asked(poured, Attached.of([], [10**9]))
    request = asked(poured)
    named = Attached.of([pulled.pk])
    with pytest.raises(NotPermitted):
        add_evidence(
            by=cast.head_roaster, request=request, revision=request.revision, attached=named
        )
    with pytest.raises(Stale):
        add_evidence(by=cast.shop_lead, request=request, revision=99, attached=named)
    gone = take_back(by=cast.shop_lead, request=request, revision=request.revision)
    with pytest.raises(Refused):
        add_evidence(by=cast.shop_lead, request=gone, revision=gone.revision, attached=named)


def test_the_database_keeps_to_it(poured: Bar) -> None:
    pulled, away = shot(poured, poured.slots[0]), shot(poured, poured.slots[-1])
    request = asked(poured, Attached.of([pulled.pk]))
    add = (
        "INSERT INTO recipes_requestevidence (request_id, shot_id, read_back_id)"
        " VALUES (%s, %s, %s)"
    )
    refused(sql(add, request.pk, away.pk, None), "Evidence is of the site")
    refused(sql(add, request.pk, None, None), "Evidence is of the site")
    refused(sql(add, request.pk, pulled.pk, None), "evidence_shot_once")
    both = "UPDATE recipes_requestevidence SET read_back_id = %s"
    refused(sql(both, read(poured, poured.slots[0]).pk), "evidence_is_one_thing")
    take_back(by=poured.cast.shop_lead, request=request, revision=request.revision)
    refused(sql("DELETE FROM recipes_requestevidence"), "settled request")
    assert RequestEvidence.objects.count() == 1


def test_from_the_shot_s_page_into_a_new_request_or_an_open_one(
    poured: Bar, signed_in: SignedIn
) -> None:
    pulled, lead = shot(poured, poured.slots[0]), signed_in(poured.cast.shop_lead)
    button = f"/requests/evidence/?shot={pulled.pk}"
    assert f'href="{button}"' in lead.get(f"/shots/{pulled.pk}/").content.decode()
    new = f"/requests/new/?slot={poured.slots[0].pk}&shot={pulled.pk}"
    assert lead.get(button)["Location"] == new  # nothing to choose: there is no open request
    form = lead.get(new)
    assert form.context["form"]["shots"].value() == [pulled.pk]
    request = asked(poured)
    assert new.replace("&", "&amp;") in lead.get(button).content.decode()
    sent = {"to": f"{request.pk}-{request.revision}"}
    assert lead.post(button, sent).status_code == 302
    assert held_by(ChangeRequest.objects.get(pk=request.pk)) == Attached.of([pulled.pk])
    assert lead.post(button, sent).status_code in {400, 412}
    page = signed_in(poured.cast.head_roaster).get(request.get_absolute_url()).content.decode()
    assert f"/shots/{pulled.pk}/" in page
    assert "41.5" in page
    edit = signed_in(poured.cast.shop_lead).get(f"{request.get_absolute_url()}edit/")
    assert edit.context["form"]["shots"].value() == [pulled.pk]


def test_the_shot_it_leads_from_is_told_however_late_others_came(
    poured: Bar, signed_in: SignedIn
) -> None:
    """Those noted without a line before it arrive after it; the newest pulled are told first."""
    unguarded("UPDATE stations_placement SET started_at = now() - interval '1 hour'")
    slot, by = poured.slots[0], poured.cast.head_roaster
    pulled = shot(poured, slot)
    for minutes in (30, 20, 10):
        made = timezone.now() - timedelta(minutes=minutes)
        weighed = replace(PULLED, shot_time=Decimal(minutes))
        log_shot(by=by, slot=slot, shot=weighed, made_at=made)
    form = signed_in(poured.cast.shop_lead).get(f"/requests/new/?slot={slot.pk}&shot={pulled.pk}")
    told = form.context["form"]["evidence"].value().splitlines()
    assert [line.partition("g out in ")[2] for line in told] == ["22 s.", "10 s.", "20 s."]


def test_what_was_ticked_counts_however_many_shots_came_after(
    poured: Bar, signed_in: SignedIn
) -> None:
    """A bar goes on pulling while somebody writes; the oldest tick is not offered by then."""
    slot, lead = poured.slots[0], signed_in(poured.cast.shop_lead)
    new, ticked = f"/requests/new/?slot={slot.pk}", shot(poured, slot)
    fields = lead.get(new).context["form"].initial
    typed = {name: str(value) for name, value in fields.items() if value not in (None, [])}
    sent = typed | {"shots": [ticked.pk], "brew_temperature": "92.0", "site": poured.cast.site.pk}
    for _ in range(RECENT):
        shot(poured, slot)
    again = lead.post(new, sent)  # without a reason
    assert "shots" not in again.context["form"].errors
    assert ticked.pk in [int(pk) for pk, _ in again.context["form"].fields["shots"].choices]
    assert lead.post(new, sent | {"reason": "Sharp"}).status_code == 302
    made = ChangeRequest.objects.get()
    assert held_by(made) == Attached.of([ticked.pk])
    later = shot(poured, slot)
    edit = f"{made.get_absolute_url()}edit/"
    sent |= {"shots": [ticked.pk, later.pk], "revision": made.revision, "reason": "Sharp"}
    for _ in range(RECENT):
        shot(poured, slot)
    assert lead.post(edit, sent).status_code == 302
    assert held_by(made) == Attached.of([ticked.pk, later.pk])


def test_what_lies_elsewhere_is_no_tick(poured: Bar, signed_in: SignedIn) -> None:
    slot, lead = poured.slots[0], signed_in(poured.cast.shop_lead)
    shot(poured, slot)
    away = shot(poured, poured.slots[-1])
    sent = {"shots": [away.pk, "x", 10**30], "reason": "Sharp", "site": poured.cast.site.pk}
    told = lead.post(f"/requests/new/?slot={slot.pk}", sent)
    assert told.status_code == 400
    assert "shots" in told.context["form"].errors
    assert str(away.pk) not in {str(pk) for pk, _ in told.context["form"].fields["shots"].choices}


def test_a_request_that_moved_is_told_as_such(poured: Bar, signed_in: SignedIn) -> None:
    pulled, lead = shot(poured, poured.slots[0]), signed_in(poured.cast.shop_lead)
    request = asked(poured)
    sent = {"to": f"{request.pk}-{request.revision}"}
    change_request(
        by=poured.cast.shop_lead, request=request, revision=request.revision, proposals=COOLER,
        reason="Very sharp",
    )  # fmt: skip
    page = lead.post(f"/requests/evidence/?shot={pulled.pk}", sent)
    assert page.status_code == 400
    assert "changed meanwhile" in page.content.decode()


def test_a_read_back_too_and_nobody_else_s(poured: Bar, signed_in: SignedIn) -> None:
    seen = read(poured, poured.slots[0])
    lead = signed_in(poured.cast.shop_lead)
    address = f"/requests/evidence/?read_back={seen.pk}"
    new = f"/requests/new/?slot={seen.slot_id}&read_back={seen.pk}"
    assert lead.get(address)["Location"] == new
    page = lead.get(f"/slots/{seen.slot_id}/read-back/?read={seen.pk}").content.decode()
    assert address in page
    assert signed_in(poured.cast.other_lead).get(address).status_code == 404
    assert signed_in(poured.cast.barista).get(address).status_code == 403


def test_over_the_api(poured: Bar, api_as: ApiAs) -> None:
    pulled, api = shot(poured, poured.slots[0]), api_as(poured.cast.shop_lead)
    body = {
        "base": poured.version.pk, "site": poured.cast.site.code, "reason": "Sharp",
        "proposals": {"brew_temperature": {"target": "92.0"}}, "shots": [pulled.pk],
    }  # fmt: skip
    made = act(api, "change-requests/", body)
    assert made.status_code == 201, made.content
    assert (made.json()["shots"], made.json()["read_backs"]) == ([pulled.pk], [])
    path = f"change-requests/{made.json()['id']}/"
    change = {"reason": "Sharp", "proposals": body["proposals"], "shots": []}
    assert put(api, path, change, etag(api, path)).json()["shots"] == []
    seen = read(poured, poured.slots[0])
    both = {**change, "shots": [pulled.pk], "read_backs": [seen.pk]}
    assert put(api, path, both, etag(api, path)).json()["read_backs"] == [seen.pk]
    kept = put(api, path, {**change, "shots": []}, etag(api, path)).json()
    assert (kept["shots"], kept["read_backs"]) == ([], [seen.pk])  # nothing was said of those
    wrong = put(api, path, {**change, "shots": [10**9]}, etag(api, path))
    assert wrong.status_code == 400
    assert api.get(f"{ROOT}/{path}").json()["shots"] == []
