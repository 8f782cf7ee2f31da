"""A lead asks for a permit; it is granted in answer, for that bar alone, or declined."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from recipes.permits.actions import Answers, grant
from recipes.permits.asking import ask_for_permit, change_permit_request
from recipes.permits.models import Permit
from recipes.permits.plan import make_permit_plan
from recipes.publishing import run
from recipes.requests.actions import change_request, take_back
from recipes.requests.answered import unseen_answers
from recipes.requests.decisions import accept, ask_back, decline
from recipes.requests.models import ChangeRequest
from recipes.requests.rebasing import SidesSeen, rebase
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.attacks import refused, sql
from tests.bar import Bar
from tests.calling import ROOT, act, etag, put
from tests.cast import PASSWORD, ApiAs, SignedIn, credentials
from tests.publishing import Publish, send
from tests.recipes.permits.hands import COOLER
from tests.recipes.shelf import ask

__all__ = ["send"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def soon() -> datetime:
    return datetime.now(UTC).replace(microsecond=0) + timedelta(days=3)


def asking(bar: Bar, *slots: Slot) -> partial[ChangeRequest]:
    return partial(
        ask_for_permit, by=bar.cast.shop_lead, base=bar.version, site=bar.cast.site,
        slots=[slot.pk for slot in slots or bar.slots[:1]], changes=COOLER, ends_at=soon(),
        reason="Gasket worn",
    )  # fmt: skip


def answering(bar: Bar, request: ChangeRequest, *slots: Slot) -> partial[Permit]:
    """The signature under a permit that answers it, still to be given."""
    by, ends_at = bar.cast.head_roaster, soon()
    ids = [slot.pk for slot in slots or bar.slots[:1]]
    plan = make_permit_plan(by=by, slots=ids, changes=COOLER, ends_at=ends_at)
    return partial(
        grant, by=by, slots=ids, changes=COOLER, ends_at=ends_at, seen=plan.digest,
        reason="Until the gasket comes", credentials=credentials(by), acknowledged=True,
        answers=Answers(request, request.revision),
    )  # fmt: skip


def test_granting_answers_it_in_one_act(placed: Bar) -> None:
    request = asking(placed)()
    permit = answering(placed, request)()
    request.refresh_from_db()
    assert (request.state, request.permit) == ("permitted", permit)
    assert (request.decided_by, request.decision_reason) == (
        placed.cast.head_roaster, "Until the gasket comes",
    )  # fmt: skip
    assert [one.pk for one in unseen_answers(placed.cast.shop_lead)] == [request.pk]
    acts = set(Entry.objects.filter(request_id=Entry.objects.latest("pk").request_id)
               .values_list("action", flat=True))  # fmt: skip
    assert {"permit.granted", "request.permitted"} <= acts


def test_a_permit_that_is_refused_leaves_the_request_open(placed: Bar) -> None:
    request = asking(placed)()
    wrong = answering(placed, request)
    with pytest.raises(Refused):
        wrong(seen="0" * 64)
    request.refresh_from_db()
    assert request.state == "open"
    assert not Permit.objects.exists()


def test_a_change_is_permitted_for_that_bar_alone(placed: Bar) -> None:
    request = ask(placed.cast, placed.version)
    with pytest.raises(Invalid, match="which asked"):
        answering(placed, request, placed.slots[-1])()
    permit = answering(placed, request)()
    request.refresh_from_db()
    assert (request.state, permit.request) == ("permitted", request)
    with pytest.raises(Refused, match="permitted"):
        accept(by=placed.cast.head_roaster, request=request, revision=request.revision)


def test_what_is_refused(placed: Bar) -> None:
    cast, make = placed.cast, asking(placed)
    for wrong, field in (
        ({"slots": []}, "slots"), ({"slots": [placed.slots[-1].pk]}, "slots"),
        ({"changes": {}}, "changes"), ({"changes": {"dose_mass": Decimal(18)}}, "changes"),
        ({"changes": {"brew_temperature": Decimal("93.0")}}, "changes"),
        ({"ends_at": soon() - timedelta(days=9)}, "ends_at"), ({"reason": " "}, "reason"),
    ):  # fmt: skip
        with pytest.raises(Invalid, match=field):
            make(**wrong)
    for who in (cast.barista, cast.other_lead):
        with pytest.raises(NotPermitted):
            make(by=who)
    answering(placed, make())()
    with pytest.raises(Refused, match="on permit already"):
        make()
    request = asking(placed, placed.slots[1])()
    by, seen = cast.head_roaster, {"request": request, "revision": request.revision}
    with pytest.raises(Refused, match="asks for a permit"):
        accept(by=by, **seen)  # type: ignore[arg-type]
    with pytest.raises(Refused, match="asks for a permit"):
        change_request(by=cast.shop_lead, proposals={}, reason="Other", **seen)  # type: ignore[arg-type]
    with pytest.raises(Refused, match="what the slots hold"):
        rebase(by=by, request=request, choices={},
               seen=SidesSeen(request.revision, placed.version.pk))  # fmt: skip
    with pytest.raises(NotPermitted):
        answering(placed, request, placed.slots[1])(by=cast.shop_lead)
    assert decline(by=by, reason="Mend it", **seen).state == "declined"  # type: ignore[arg-type]


def test_it_is_changed_and_answered_as_seen(placed: Bar) -> None:
    request = asking(placed)()
    stale = answering(placed, request)
    change = partial(
        change_permit_request, by=placed.cast.shop_lead, request=request, ends_at=soon(),
        slots=[placed.slots[1].pk], changes=COOLER, reason="The other group",
    )  # fmt: skip
    now = change(revision=request.revision)
    assert [each.slot_id for each in now.slots.all()] == [placed.slots[1].pk]
    with pytest.raises(Stale):
        stale()
    with pytest.raises(Stale):
        change(revision=request.revision)
    asked = ask_back(by=placed.cast.head_roaster, request=now, revision=now.revision, reason="Why?")
    assert change(revision=asked.revision).state == "open"


def test_the_database_keeps_to_it(placed: Bar) -> None:
    request, other = asking(placed)(), ask(placed.cast, placed.version)
    state = "UPDATE recipes_changerequest SET state = %s, decided_by_id = author_id,"
    state += " decided_at = now() WHERE id = %s"
    refused(sql(state, "permitted", request.pk), "by a signed permit")
    refused(sql(state, "permitted", other.pk), "by a signed permit")
    refused(sql(state, "accepted", request.pk), "answered by one, or declined")
    refused(sql("UPDATE recipes_changerequest SET kind = 'change', ends_at = NULL"), "keeps its")
    refused(sql("UPDATE recipes_changerequest SET ends_at = NULL WHERE id = %s", request.pk),
            "says_until_when")  # fmt: skip
    add = "INSERT INTO recipes_requestslot (request_id, slot_id) VALUES (%s, %s)"
    refused(sql(add, request.pk, placed.slots[-1].pk), "slots of the site that asks")
    refused(sql(add, other.pk, placed.slots[1].pk), "slots of the site that asks")
    permit = answering(placed, request)()
    refused(sql(add, request.pk, placed.slots[1].pk), "settled request")
    refused(sql("DELETE FROM recipes_requestslot"), "settled request")
    refused(sql("UPDATE recipes_permit SET request_id = %s", other.pk), "never changes")
    made = (
        "INSERT INTO recipes_permit (author_id, reason, ends_at, plan_digest, acknowledgement,"
        " revision, state, request_id) SELECT author_id, reason, ends_at, plan_digest,"
        " acknowledgement, 1, 'in_force', %s FROM recipes_permit WHERE id = %s"
    )
    refused(sql(made, request.pk, permit.pk), "undecided")
    away = placed.slots[-1].pk

    def elsewhere() -> None:
        sql(made, other.pk, permit.pk)()
        named = "INSERT INTO recipes_permitslot (permit_id, slot_id)"
        sql(f"{named} SELECT max(id), %s FROM recipes_permit", away)()

    refused(elsewhere, "the site that asked")


def test_on_the_pages(placed: Bar, signed_in: SignedIn) -> None:
    lead, slot = signed_in(placed.cast.shop_lead), placed.slots[0]
    button = f"/permits/ask/?slot={slot.pk}"
    assert button in lead.get(slot.get_absolute_url()).content.decode()
    page = lead.get(button)
    assert str(placed.version.recipe.coffee) in page.content.decode()
    labels = [label for _, label in page.context["form"].fields["slots"].choices]
    assert all(": " in label for label in labels)  # each with what it holds now
    sent = {
        "slots": [slot.pk], "brew_temperature": "91.5", "reason": "Gasket worn",
        "date": soon().date().isoformat(), "time": "06:30",
    }  # fmt: skip
    assert lead.post(button, {**sent, "reason": ""}).status_code == 400
    assert lead.post(button, sent).status_code == 302
    request = ChangeRequest.objects.get()
    edit = f"/permits/ask/{request.pk}/"
    shown = lead.get(request.get_absolute_url()).content.decode()
    assert edit in shown
    assert "Permit asked for" in shown
    form = lead.get(edit).context["form"]
    assert [str(form[name].value()) for name in ("brew_temperature", "reason")] == [
        "91.5", "Gasket worn",
    ]  # fmt: skip
    assert (
        lead.post(edit, {**sent, "reason": "Worn", "revision": request.revision}).status_code == 302
    )
    roaster = signed_in(placed.cast.head_roaster)
    decide = roaster.get(request.get_absolute_url())
    assert "Accept" not in decide.content.decode()
    new = f"/permits/new/?request={request.pk}"
    assert new in decide.content.decode()
    first = roaster.get(new).context["form"]
    assert [int(pk) for pk in first["slots"].value()] == [slot.pk]
    assert Decimal(str(first["brew_temperature"].value())) == Decimal("91.5")


def test_signed_on_the_page(placed: Bar, signed_in: SignedIn) -> None:
    request, roaster = asking(placed)(), signed_in(placed.cast.head_roaster)
    query = (
        f"?request={request.pk}&revision={request.revision}&slots={placed.slots[0].pk}"
        f"&brew_temperature=91.5&date={soon().date()}&time=06:30"
    )
    plan = roaster.get(f"/permits/new/{query}")
    assert f"request {request.pk}" in plan.content.decode()
    signed = {
        "seen_digest": plan.context["plan"].digest, "reason": "Until the gasket comes",
        "email": placed.cast.head_roaster.email, "password": PASSWORD, "acknowledged": "on",
    }  # fmt: skip
    answer = roaster.post(f"/permits/new/{query}", signed)
    assert answer.status_code == 302, answer.content.decode()
    permit = Permit.objects.get()
    assert permit.request == request
    told = signed_in(placed.cast.shop_lead).get(request.get_absolute_url()).content.decode()
    assert permit.get_absolute_url() in told
    listed = roaster.get("/permits/").content.decode()
    assert "Harbour" in listed
    assert str(placed.slots[0]) in listed


def test_who_hears_of_it(placed: Bar) -> None:
    request = asking(placed)()
    find_matters()
    [told] = [each for each in matters_of(placed.cast.head_roaster, 9) if each.kind == "request"]
    assert "asks for a permit to differ from" in told.title
    answering(placed, request)()
    find_matters()
    [said] = [each for each in matters_of(placed.cast.shop_lead, 9) if each.kind == "decided"]
    assert "permitted" in said.title
    assert "request" not in {each.kind for each in matters_of(placed.cast.head_roaster, 9)}


def test_over_the_api(placed: Bar, api_as: ApiAs) -> None:
    api, roaster = api_as(placed.cast.shop_lead), api_as(placed.cast.head_roaster)
    body = {
        "base": placed.version.pk, "site": placed.cast.site.code, "slots": [placed.slots[0].pk],
        "changes": {"brew_temperature": "91.5"}, "ends_at": soon().isoformat(),
        "reason": "Gasket worn",
    }  # fmt: skip
    made = act(api, "permit-requests/", body)
    assert made.status_code == 201, made.content
    pk = made.json()["id"]
    assert (made.json()["kind"], made.json()["slots"]) == ("permit", [placed.slots[0].pk])
    change = {name: body[name] for name in ("slots", "changes", "ends_at")} | {"reason": "Worn"}
    assert act(api, "permit-requests/", body | {"changes": {"colour": "1"}}).status_code == 400
    tag = etag(api, f"change-requests/{pk}/")
    assert put(api, f"permit-requests/{pk}/", change, tag).json()["reason"] == "Worn"
    request = ChangeRequest.objects.get()
    asked = {"slots": body["slots"], "changes": body["changes"], "ends_at": body["ends_at"]}
    plan = act(roaster, "permits/plan/", asked).json()
    grant_it = asked | {
        "seen_digest": plan["digest"], "reason": "Until the gasket comes", "acknowledged": True,
        "request": pk, **_signature(placed),
    }  # fmt: skip
    assert act(roaster, "permits/", grant_it).status_code == 400  # without its revision
    granted = act(roaster, "permits/", grant_it | {"request_revision": request.revision})
    assert granted.status_code == 201, granted.content
    assert granted.json()["request"] == pk
    assert api.get(f"{ROOT}/change-requests/{pk}/").json()["permit"] == granted.json()["id"]


def _signature(placed: Bar) -> dict[str, str]:
    return {"email": placed.cast.head_roaster.email, "password": PASSWORD}


def test_taken_back_or_decided_nobody_grants_it(placed: Bar) -> None:
    request = asking(placed)()
    sign = answering(placed, request)
    take_back(by=placed.cast.shop_lead, request=request, revision=request.revision)
    with pytest.raises(Refused, match="taken back"):
        sign()
    assert not Placement.objects.filter(basis="permit").exists()
