"""Deciding about change requests; what was accepted is approved by a third person."""

from collections.abc import Callable
from functools import partial

import pytest

from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.requests.actions import change_request, make_request
from recipes.requests.decisions import accept, ask_back, decline
from recipes.requests.models import ChangeRequest
from recipes.versions.drafts import new_draft
from recipes.versions.models import Version
from recipes.versions.review import approve, submit, withdraw
from tests.cast import Cast, credentials
from tests.recipes.shelf import FORMULA, HOTTER, ask, make_approved

State = ChangeRequest.State


def test_accepting_drafts_the_proposal(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    draft = accept(by=cast.head_roaster, request=request, revision=request.revision)
    assert draft.stated == FORMULA | HOTTER
    assert (draft.number, draft.based_on, draft.change_request) == (2, approved, request)
    assert (draft.author, draft.note) == (cast.head_roaster, f"Request {request.pk}: Sour at 93.")
    request.refresh_from_db()
    assert (request.state, request.decided_by) == (State.ACCEPTED, cast.head_roaster)


def test_neither_requester_nor_acceptor_approves(cast: Cast, approved: Version) -> None:
    request = make_request(
        by=cast.second_roaster, base=approved, site=cast.site, proposals=HOTTER, reason="Sour"
    )
    draft = accept(by=cast.head_roaster, request=request, revision=request.revision)
    waiting = submit(by=cast.head_roaster, version=draft, revision=draft.revision)
    for who in (cast.head_roaster, cast.second_roaster):
        with pytest.raises(Refused, match="Nobody approves"):
            approve(
                by=who,
                version=waiting,
                credentials=credentials(who),
                seen=waiting.content_digest,
            )


def test_a_request_travels_with_its_values(cast: Cast, approved: Version) -> None:
    request = make_request(
        by=cast.second_roaster, base=approved, site=cast.site, proposals=HOTTER, reason="Sour"
    )
    first = accept(by=cast.head_roaster, request=request, revision=request.revision)
    withdraw(by=cast.head_roaster, version=first, revision=first.revision, reason="Anew")
    again = new_draft(by=cast.head_roaster, recipe=first.recipe, based_on=first)
    assert again.change_request == request
    # Based on what was approved since, it is nobody's request any more.
    assert (
        new_draft(by=cast.head_roaster, recipe=first.recipe, based_on=approved).change_request
        is None
    )


@pytest.mark.parametrize("decide", [ask_back, decline])
def test_a_no_says_why(cast: Cast, approved: Version, decide: Callable[..., ChangeRequest]) -> None:
    request = ask(cast, approved)
    answer = partial(decide, by=cast.head_roaster, request=request, revision=request.revision)
    with pytest.raises(Invalid, match="reason"):
        answer(reason="  ")
    now = answer(reason="Why?")
    assert (now.decided_by, now.decision_reason) == (cast.head_roaster, "Why?")
    assert now.decided_at is not None


def test_a_request_is_decided_once(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    accept(by=cast.head_roaster, request=request, revision=request.revision)
    again = partial(accept, by=cast.second_roaster, request=request, revision=request.revision)
    for decide in (
        again,
        partial(ask_back, *again.args, **again.keywords, reason="No"),
        partial(decline, *again.args, **again.keywords, reason="No"),
    ):
        with pytest.raises(Refused, match="accepted by Head roaster already"):
            decide()
    assert Version.objects.filter(change_request=request).count() == 1


def test_what_moved_while_it_was_read_is_not_decided_unseen(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    change_request(
        by=cast.shop_lead, request=request, revision=1, proposals=HOTTER, reason="Other reason"
    )
    with pytest.raises(Stale):
        accept(by=cast.head_roaster, request=request, revision=1)
    with pytest.raises(Stale):
        decline(by=cast.head_roaster, request=request, reason="No", revision=1)


def test_an_overtaken_request_is_not_accepted(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    make_approved(cast, approved.recipe)
    with pytest.raises(Refused, match="Version 2 was approved after this request") as told:
        accept(by=cast.head_roaster, request=request, revision=request.revision)
    assert "Update the request to" in told.value.how_to_ask


def test_without_an_approved_version_nothing_is_accepted(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    withdraw(
        by=cast.head_roaster, version=approved, revision=approved.revision, reason="Lot is gone"
    )
    with pytest.raises(Refused, match="no approved version"):
        accept(by=cast.head_roaster, request=request, revision=request.revision)


def test_only_head_roasters_decide(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    for person in (cast.shop_lead, cast.other_lead, cast.owner, cast.barista):
        with pytest.raises(NotPermitted):
            accept(by=person, request=request, revision=request.revision)
        with pytest.raises(NotPermitted):
            decline(by=person, request=request, revision=request.revision, reason="No")
        with pytest.raises(NotPermitted):
            ask_back(by=person, request=request, revision=request.revision, reason="Why?")
