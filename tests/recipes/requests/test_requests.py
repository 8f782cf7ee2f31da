"""Change requests: asked with a reason, changed and taken back by whoever asked."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.formula.formula import Formula
from recipes.requests.actions import change_request, make_request, take_back
from recipes.requests.decisions import ask_back, decline
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from stations.metrology.formula import Stated
from tests.attacks import refused, sql
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, HOTTER, ask, make_approved, number

State = ChangeRequest.State


def test_only_what_differs_is_asked_for(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved, FORMULA | {**HOTTER, "dose_mass": number("18.00", "0.1", "0.1")})
    assert request.proposed == HOTTER
    assert (request.state, request.author, request.site) == (State.OPEN, cast.shop_lead, cast.site)
    line = Entry.objects.get(parameter="brew_temperature", subject_type="change request")
    assert (line.action, line.site_id, line.unit) == ("request.made", cast.site.pk, "Cel")


@pytest.mark.parametrize(
    ("proposals", "reason", "field"),
    [
        ({}, "Sour", "proposals"),
        (FORMULA, "Sour", "proposals"),
        (HOTTER, " ", "reason"),
        (HOTTER, "x" * 2001, "reason"),
        ({"brew_temperature": number("194")}, "Sour", "brew_temperature"),
        ({"colour": Stated(text="brown")}, "Sour", "colour"),
    ],
)
def test_a_request_needs_a_change_and_a_reason(
    cast: Cast, approved: Version, proposals: Formula, reason: str, field: str
) -> None:
    with pytest.raises(Invalid) as told:
        make_request(
            by=cast.shop_lead, base=approved, site=cast.site, proposals=proposals, reason=reason
        )
    assert told.value.field == field
    assert not ChangeRequest.objects.exists()


def test_it_is_against_the_approved_version(cast: Cast, approved: Version) -> None:
    make_approved(cast, approved.recipe)
    with pytest.raises(Refused, match="superseded") as told:
        ask(cast, approved)
    assert told.value.how_to_ask == "Ask for the change of version 2."


def test_one_asks_for_ones_own_site(cast: Cast, approved: Version) -> None:
    for person in (cast.other_lead, cast.barista, cast.technician, cast.owner):
        with pytest.raises(NotPermitted):
            make_request(by=person, base=approved, site=cast.site, proposals=HOTTER, reason="Sour")
    asked = make_request(
        by=cast.head_roaster, base=approved, site=cast.other_site, proposals=HOTTER, reason="Thin"
    )
    assert asked.site == cast.other_site


def test_its_author_changes_it(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    wanted = {"dose_mass": number("18.5", "0.1", "0.1")}
    now = change_request(
        by=cast.shop_lead,
        request=request,
        revision=1,
        proposals=wanted,
        reason="Thin",
        evidence="3",
    )
    assert now.proposed == wanted
    assert (now.reason, now.evidence, now.revision) == ("Thin", "3", 2)
    with pytest.raises(Stale):
        change_request(
            by=cast.shop_lead, request=request, revision=1, proposals=HOTTER, reason="Again"
        )


def test_an_answer_opens_it_again(cast: Cast, approved: Version) -> None:
    made = ask(cast, approved)
    request = ask_back(
        by=cast.head_roaster, request=made, revision=made.revision, reason="Which grinder?"
    )
    assert request.state == State.ASKED_BACK
    now = change_request(
        by=cast.shop_lead,
        request=request,
        revision=request.revision,
        proposals=HOTTER,
        reason="Sour at 93, grinder two.",
    )
    assert (now.state, now.decision_reason) == (State.OPEN, "Which grinder?")


def test_nobody_else_changes_it_or_takes_it_back(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    for person in (cast.head_roaster, cast.other_lead, cast.barista, cast.owner):
        with pytest.raises(NotPermitted):
            take_back(by=person, request=request, revision=request.revision)
        with pytest.raises(NotPermitted):
            change_request(by=person, request=request, revision=1, proposals=HOTTER, reason="x")


def test_what_is_settled_stays_settled(cast: Cast, approved: Version) -> None:
    one, other = ask(cast, approved), ask(cast, approved)
    taken = take_back(by=cast.shop_lead, request=one, revision=one.revision)
    declined = decline(
        by=cast.head_roaster, request=other, revision=other.revision, reason="Clean first."
    )
    for settled in (taken, declined):
        with pytest.raises(Refused, match="already"):
            take_back(by=cast.shop_lead, request=settled, revision=settled.revision)
        with pytest.raises(Refused, match="already"):
            change_request(
                by=cast.shop_lead,
                request=settled,
                revision=settled.revision,
                proposals=HOTTER,
                reason="Again",
            )


def test_what_a_settled_request_proposed_stays(cast: Cast, approved: Version) -> None:
    """A decision is about what was asked; nobody makes it one about something else."""
    request = ask(cast, approved)
    other = ask(cast, approved, {"dose_mass": number("18.5")})
    decline(by=cast.head_roaster, request=request, revision=request.revision, reason="Too hot")
    mine = f"request_id = {request.pk}"
    for attempt in (
        f"UPDATE recipes_changerequestvalue SET target = 92 WHERE {mine}",
        f"DELETE FROM recipes_changerequestvalue WHERE {mine}",
        f"UPDATE recipes_changerequestvalue SET request_id = {other.pk} WHERE {mine}",
        "INSERT INTO recipes_changerequestvalue (request_id, code, target, text)"
        f" VALUES ({request.pk}, 'dose_mass', 17, '')",
        f"UPDATE recipes_changerequestvalue SET request_id = {request.pk}"
        f" WHERE request_id = {other.pk}",
    ):
        refused(sql(attempt), "What a settled request proposed stays as it was")
    assert request.proposed == HOTTER
