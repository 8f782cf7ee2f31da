"""Submitting, returning with comments, commenting and withdrawing."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.versions.digest import content_digest
from recipes.versions.drafts import edit_draft
from recipes.versions.models import Comment, Version
from recipes.versions.review import comment, return_to_author, submit, withdraw
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, make_draft

State = Version.State


def test_submitting_fixes_the_digest(cast: Cast, draft: Version) -> None:
    now = submit(by=cast.second_roaster, version=draft, revision=draft.revision)
    assert now.state == State.IN_REVIEW
    assert now.content_digest == content_digest(now)
    assert (now.submitted_by, now.author) == (cast.second_roaster, cast.head_roaster)
    assert now.submitted_at is not None


def test_gaps_keep_a_draft_a_draft(cast: Cast, draft: Version) -> None:
    draft = edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values={})
    with pytest.raises(Invalid) as told:
        submit(by=cast.head_roaster, version=draft, revision=draft.revision)
    assert [problem.field for problem in told.value.problems] == [
        "dose_mass",
        "beverage_mass",
        "brew_temperature",
        "ends_by",
    ]
    assert Version.objects.get(pk=draft.pk).state == State.DRAFT


def test_what_moved_is_not_submitted_unseen(cast: Cast, draft: Version) -> None:
    seen = draft.revision
    edit_draft(by=cast.second_roaster, version=draft, revision=seen, values=FORMULA, note="Other")
    with pytest.raises(Stale):
        submit(by=cast.head_roaster, version=draft, revision=seen)


def test_a_return_says_why_and_can_be_edited_again(cast: Cast, in_review: Version) -> None:
    comments = {"": "Too sour.", "brew_temperature": "Try 94.", "dose_mass": "  "}
    now = return_to_author(
        by=cast.second_roaster, version=in_review, revision=in_review.revision, comments=comments
    )
    assert now.is_returned
    assert now.content_digest == ""
    said = list(Comment.objects.filter(version=now).values_list("code", "text", "by__name"))
    assert said == [
        ("", "Too sour.", "Second roaster"),
        ("brew_temperature", "Try 94.", "Second roaster"),
    ]
    now = edit_draft(
        by=cast.head_roaster, version=now, revision=now.revision, values=FORMULA, note="94"
    )
    again = submit(by=cast.head_roaster, version=now, revision=now.revision)
    assert again.state == State.IN_REVIEW
    assert not again.is_returned


@pytest.mark.parametrize(
    "comments", [{}, {"": "  "}, {"colour": "Why brown?"}, {"": "x" * 2001}, {"": "a\x00"}]
)
def test_a_return_needs_a_comment(cast: Cast, in_review: Version, comments: dict[str, str]) -> None:
    with pytest.raises(Invalid):
        return_to_author(
            by=cast.second_roaster,
            version=in_review,
            revision=in_review.revision,
            comments=comments,
        )
    assert Version.objects.get(pk=in_review.pk).state == State.IN_REVIEW
    assert not Comment.objects.exists()


def test_only_what_is_in_review_is_returned(cast: Cast, draft: Version) -> None:
    with pytest.raises(Refused, match="only a version that is in review"):
        return_to_author(
            by=cast.second_roaster, version=draft, revision=draft.revision, comments={"": "No"}
        )


def test_a_comment_changes_no_state(cast: Cast, in_review: Version) -> None:
    made = comment(by=cast.second_roaster, version=in_review, text="Nice.", code="dose_mass")
    assert (made.code, made.text) == ("dose_mass", "Nice.")
    now = Version.objects.get(pk=in_review.pk)
    assert (now.state, now.revision) == (State.IN_REVIEW, in_review.revision)
    with pytest.raises(Invalid):
        comment(by=cast.second_roaster, version=in_review, text="")


def test_a_decided_version_takes_no_comment(cast: Cast, approved: Version) -> None:
    with pytest.raises(Refused):
        comment(by=cast.head_roaster, version=approved, text="Late.")


@pytest.mark.parametrize("name", ["draft", "in_review", "approved"])
def test_withdrawing_is_for_good_and_says_why(
    cast: Cast, request: pytest.FixtureRequest, name: str
) -> None:
    version = request.getfixturevalue(name)
    now = withdraw(
        by=cast.second_roaster, version=version, revision=version.revision, reason="Lot is gone."
    )
    assert now.state == State.WITHDRAWN
    line = Entry.objects.get(action="version.withdrawn")
    assert (line.reason, line.changes["state"]) == ("Lot is gone.", [name, "withdrawn"])
    with pytest.raises(Refused, match="withdrawn"):
        withdraw(by=cast.second_roaster, version=now, revision=now.revision, reason="Again")


def test_withdrawing_needs_a_reason(cast: Cast, draft: Version) -> None:
    with pytest.raises(Invalid, match="reason"):
        withdraw(by=cast.head_roaster, version=draft, revision=draft.revision, reason=" ")


def test_only_head_roasters(cast: Cast, draft: Version, recipe: object) -> None:
    other = make_draft(cast, draft.recipe)
    waiting = submit(by=cast.head_roaster, version=other, revision=other.revision)
    for person in (cast.owner, cast.shop_lead, cast.barista, cast.technician):
        with pytest.raises(NotPermitted):
            submit(by=person, version=draft, revision=draft.revision)
        with pytest.raises(NotPermitted):
            return_to_author(
                by=person, version=waiting, revision=waiting.revision, comments={"": "No"}
            )
        with pytest.raises(NotPermitted):
            withdraw(by=person, version=waiting, revision=waiting.revision, reason="No")
        with pytest.raises(NotPermitted):
            comment(by=person, version=waiting, text="No")
    refused = Entry.objects.filter(operation="refused")
    assert refused.count() == 16
    assert set(refused.values_list("subject_type", "subject_id")) == {("recipe", draft.recipe_id)}
