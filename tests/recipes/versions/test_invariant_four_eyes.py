"""Invariant 2: nobody approves what they drafted, last edited or requested.

The database itself refuses, whatever signature is put beside it.
"""

from collections.abc import Callable
from functools import partial

import pytest

from people.persons.models import User
from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from recipes.requests.actions import make_request
from recipes.requests.decisions import accept
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from recipes.versions.review import submit
from tests.attacks import refused, sql
from tests.cast import ApiAs, Cast, allow_sole_roaster
from tests.recipes.shelf import number

OWN = "Nobody approves"


def forge(version: Version, by: User, note: str = "") -> Signature:
    """A signature row that says all the right things."""
    return Signature.objects.create(
        user=by,
        name=by.name,
        role=Role.HEAD_ROASTER,
        meaning=Meaning.APPROVED,
        digest=version.content_digest,
        subject_type="version",
        subject_id=version.pk,
        note=note,
    )


def by_update(version: Version, signature: Signature) -> object:
    rows = Version.objects.filter(pk=version.pk)
    return rows.update(state="approved", signature=signature)


def by_save(version: Version, signature: Signature) -> None:
    version.state, version.signature = Version.State.APPROVED, signature
    version.save()


def by_sql(version: Version, signature: Signature) -> object:
    statement = "UPDATE recipes_version SET state = 'approved', signature_id = %s WHERE id = %s"
    return sql(statement, signature.pk, version.pk)()


WAYS: list[Callable[[Version, Signature], object]] = [by_update, by_save, by_sql]


@pytest.mark.parametrize("way", WAYS)
def test_the_author_is_refused_by_the_database(
    cast: Cast, in_review: Version, way: Callable[[Version, Signature], object]
) -> None:
    for note in ("", "sole-roaster policy"):
        signature = forge(in_review, cast.head_roaster, note)
        refused(partial(way, in_review, signature), OWN)


@pytest.mark.parametrize("way", WAYS)
def test_the_requester_is_refused_by_the_database(
    cast: Cast, approved: Version, way: Callable[[Version, Signature], object]
) -> None:
    request = make_request(
        by=cast.second_roaster,
        base=approved,
        site=cast.site,
        proposals={"brew_temperature": number("94.0")},
        reason="Sour",
    )
    draft = accept(by=cast.head_roaster, request=request, revision=request.revision)
    waiting = submit(by=cast.head_roaster, version=draft, revision=draft.revision)
    for who in (cast.second_roaster, cast.head_roaster):
        signature = forge(waiting, who)
        refused(partial(way, waiting, signature), OWN)


def test_who_asked_cannot_be_rewritten(cast: Cast, approved: Version) -> None:
    request = make_request(
        by=cast.shop_lead,
        base=approved,
        site=cast.site,
        proposals={"brew_temperature": number("94.0")},
        reason="Sour",
    )
    rows = ChangeRequest.objects.filter(pk=request.pk)
    refused(lambda: rows.update(author=cast.barista), "keeps its author")
    refused(
        sql("DELETE FROM recipes_changerequest WHERE id = %s", request.pk), "never removed|viol"
    )
    draft = accept(by=cast.head_roaster, request=request, revision=request.revision)
    drafts = Version.objects.filter(pk=draft.pk)
    refused(lambda: drafts.update(change_request=None), "keeps its recipe")
    refused(lambda: drafts.update(author=cast.second_roaster), "keeps its recipe")
    refused(lambda: rows.update(state="open"), "stays settled")


def test_the_policy_needs_both_the_owner_and_the_note(cast: Cast, in_review: Version) -> None:
    allow_sole_roaster(cast)
    silent = forge(in_review, cast.head_roaster)
    refused(lambda: by_update(in_review, silent), OWN)
    said = forge(in_review, cast.head_roaster, "sole-roaster policy")
    allow_sole_roaster(cast, on=False)
    refused(lambda: by_update(in_review, said), OWN)
    allow_sole_roaster(cast)
    assert by_update(in_review, said) == 1


def test_by_the_api(cast: Cast, in_review: Version, api_as: ApiAs) -> None:
    answer = api_as(cast.head_roaster).post(
        f"/api/v1/versions/{in_review.pk}/approve/",
        {
            "digest": in_review.content_digest,
            "email": cast.head_roaster.email,
            "password": "correct horse 9 staple",
        },
        headers={"Idempotency-Key": "own-work-1"},
    )
    assert answer.status_code == 409
    assert answer.json()["who_may"] == "another head roaster"
