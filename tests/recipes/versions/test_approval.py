"""Approval: by a second person, over exactly what was seen, the one before superseded."""

from functools import partial

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from people.persons.models import User
from people.signatures.models import Meaning, Signature
from recipes.coffees.models import Recipe
from recipes.versions.drafts import edit_draft
from recipes.versions.models import Version
from recipes.versions.review import approve, return_to_author, submit
from tests.cast import Cast, allow_sole_roaster, credentials
from tests.recipes.shelf import FORMULA, make_approved, make_in_review, number

State = Version.State


def sign(version: Version, by: User, digest: str | None = None) -> Version:
    seen = version.content_digest if digest is None else digest
    return approve(by=by, version=version, credentials=credentials(by), seen=seen)


def test_a_second_roaster_signs(cast: Cast, in_review: Version) -> None:
    now = sign(in_review, cast.second_roaster)
    assert now.state == State.APPROVED
    signature = Signature.objects.get(meaning=Meaning.APPROVED)
    assert signature == now.signature
    assert (signature.name, signature.role, signature.meaning, signature.note) == (
        "Second roaster",
        "head_roaster",
        Meaning.APPROVED,
        "",
    )
    assert (signature.digest, signature.subject_id) == (in_review.content_digest, now.pk)
    line = Entry.objects.get(action="version.approved", table_name="recipes_version")
    assert (line.actor, line.signature_id) == ("Second roaster", signature.pk)


def test_the_one_before_is_superseded(cast: Cast, approved: Version) -> None:
    newer = make_approved(cast, approved.recipe)
    approved.refresh_from_db()
    assert (approved.state, newer.state) == (State.SUPERSEDED, State.APPROVED)
    line = Entry.objects.get(action="version.superseded")
    assert (line.row_id, line.reason) == (approved.pk, "Version 2 was approved.")


@pytest.mark.parametrize("who", ["head_roaster"])
def test_nobody_approves_their_own_draft(cast: Cast, in_review: Version, who: str) -> None:
    with pytest.raises(Refused, match="Nobody approves") as told:
        sign(in_review, getattr(cast, who))
    assert told.value.who_may == "another head roaster"
    assert not Signature.objects.exists()
    assert Entry.objects.get(operation="refused").action == "version.approved"


def test_nobody_approves_what_they_edited_last(cast: Cast, draft: Version) -> None:
    draft = edit_draft(
        by=cast.second_roaster, version=draft, revision=draft.revision, values=FORMULA, note="Mine"
    )
    waiting = submit(by=cast.head_roaster, version=draft, revision=draft.revision)
    for who in (cast.head_roaster, cast.second_roaster):
        with pytest.raises(Refused, match="Nobody approves"):
            sign(waiting, who)


def test_the_owners_policy_lets_a_sole_roaster_sign_and_says_so(
    cast: Cast, in_review: Version
) -> None:
    allow_sole_roaster(cast)
    now = sign(in_review, cast.head_roaster)
    assert now.signature is not None
    assert now.signature.note == "sole-roaster policy"
    line = Entry.objects.get(action="version.approved", table_name="recipes_version")
    assert line.reason == "sole-roaster policy"


def test_under_that_policy_a_second_persons_signature_is_a_plain_one(
    cast: Cast, in_review: Version
) -> None:
    allow_sole_roaster(cast)
    now = sign(in_review, cast.second_roaster)
    assert now.signature is not None
    assert now.signature.note == ""


@pytest.mark.parametrize("digest", ["", "0" * 64, "not a digest", "x" * 5000])
def test_another_digest_is_refused(cast: Cast, in_review: Version, digest: str) -> None:
    with pytest.raises(Refused, match="content moved"):
        sign(in_review, cast.second_roaster, digest)
    assert not Signature.objects.exists()


def test_content_that_moved_between_is_refused(cast: Cast, in_review: Version) -> None:
    seen = in_review.content_digest
    back = return_to_author(
        by=cast.second_roaster,
        version=in_review,
        revision=in_review.revision,
        comments={"": "Hotter"},
    )
    hotter = FORMULA | {"brew_temperature": number("94.0", "0.5", "0.5")}
    again = edit_draft(by=cast.head_roaster, version=back, revision=back.revision, values=hotter)
    waiting = submit(by=cast.head_roaster, version=again, revision=again.revision)
    with pytest.raises(Refused, match="content moved"):
        sign(waiting, cast.second_roaster, seen)
    assert sign(waiting, cast.second_roaster).state == State.APPROVED


def test_a_wrong_password_signs_nothing(cast: Cast, in_review: Version) -> None:
    act = partial(approve, version=in_review, seen=in_review.content_digest)
    with pytest.raises(Invalid, match="password"):
        act(by=cast.second_roaster, credentials=credentials(cast.second_roaster, "guess"))
    in_review.refresh_from_db()
    assert in_review.state == State.IN_REVIEW


def test_an_older_number_does_not_replace_a_newer_one(cast: Cast, recipe: Recipe) -> None:
    older = make_in_review(cast, recipe)
    make_approved(cast, recipe)
    with pytest.raises(Refused, match="Version 2 was approved meanwhile"):
        sign(older, cast.second_roaster)


@pytest.mark.parametrize("name", ["draft", "approved"])
def test_only_what_is_in_review(cast: Cast, request: pytest.FixtureRequest, name: str) -> None:
    with pytest.raises(Refused, match="only a version that is in review"):
        sign(request.getfixturevalue(name), cast.second_roaster)


def test_only_head_roasters(cast: Cast, in_review: Version) -> None:
    for person in (cast.owner, cast.shop_lead, cast.barista, cast.technician):
        with pytest.raises(NotPermitted):
            sign(in_review, person)
