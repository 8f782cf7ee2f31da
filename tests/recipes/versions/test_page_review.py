"""The way to an approval on pages: submit, return, sign; each refusal is a sentence."""

import pytest
from django.test import Client
from django.urls import reverse

from recipes.versions.drafts import edit_draft
from recipes.versions.models import Comment, Version
from recipes.versions.review import approve, return_to_author, submit
from tests.cast import PASSWORD, Cast, SignedIn, allow_sole_roaster, credentials
from tests.recipes.shelf import FORMULA, number

State = Version.State


def post(browser: Client, name: str, version: Version, **data: object) -> tuple[int, str]:
    answer = browser.post(reverse(f"recipes:{name}", args=[version.pk]), data)
    return answer.status_code, answer.content.decode()


def state(version: Version) -> str:
    return Version.objects.get(pk=version.pk).state


def test_submit(cast: Cast, signed_in: SignedIn, draft: Version) -> None:
    browser = signed_in(cast.head_roaster)
    assert post(browser, "version_submit", draft)[0] == 400
    assert post(browser, "version_submit", draft, revision=draft.revision + 1)[0] == 412
    assert post(browser, "version_submit", draft, revision=draft.revision)[0] == 302
    assert state(draft) == State.IN_REVIEW
    status, page = post(browser, "version_submit", draft, revision=draft.revision)
    assert (status, "only a version that is draft can be submitted" in page) == (409, True)


def test_what_is_missing_is_listed(cast: Cast, signed_in: SignedIn, draft: Version) -> None:
    draft = edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values={})
    status, page = post(
        signed_in(cast.head_roaster), "version_submit", draft, revision=draft.revision
    )
    assert status == 400
    assert "Brew temperature, because every recipe states it." in page
    assert reverse("recipes:version_edit", args=[draft.pk]) in page


def test_return(cast: Cast, signed_in: SignedIn, in_review: Version) -> None:
    browser, seen = signed_in(cast.second_roaster), {"revision": in_review.revision}
    status, page = post(browser, "version_return", in_review, comment=" ", **seen)
    assert (status, "at least one comment" in page) == (400, True)
    status, _ = post(browser, "version_return", in_review, comment_dose_mass="Too much", **seen)
    assert status == 302
    page = browser.get(in_review.get_absolute_url()).content.decode()
    assert "Returned" in page
    assert "on dose" in page
    assert Comment.objects.get().text == "Too much"


def test_the_first_signature_asks_for_both(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    browser = signed_in(cast.second_roaster)
    seen = {"seen_digest": in_review.content_digest}
    assert post(browser, "version_approve", in_review, **seen, password=PASSWORD)[0] == 400
    both = {**seen, "email": cast.second_roaster.email}
    status, page = post(browser, "version_approve", in_review, **both, password="guess")
    assert status == 400
    assert "password" in page
    assert state(in_review) == State.IN_REVIEW
    assert post(browser, "version_approve", in_review, **both, password=PASSWORD)[0] == 302
    assert state(in_review) == State.APPROVED


def test_content_that_moved_is_refused_and_shown_anew(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    status, page = post(
        signed_in(cast.second_roaster),
        "version_approve",
        in_review,
        seen_digest="0" * 64,
        email=cast.second_roaster.email,
        password=PASSWORD,
    )
    assert status == 409
    assert "content moved" in page
    assert f'name="seen_digest" value="{in_review.content_digest}"' in page


def test_ones_own_work_has_no_sign_panel(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    browser = signed_in(cast.head_roaster)
    url = reverse("recipes:version_approve", args=[in_review.pk])
    assert b'name="password"' not in browser.get(url).content
    allow_sole_roaster(cast)
    page = browser.get(url).content
    assert b'name="password"' in page
    assert b"sole-roaster policy" in page


def test_the_old_post_by_its_author_is_refused(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    status, page = post(
        signed_in(cast.head_roaster),
        "version_approve",
        in_review,
        seen_digest=in_review.content_digest,
        email=cast.head_roaster.email,
        password=PASSWORD,
    )
    assert (status, "Nobody approves" in page) == (409, True)
    assert state(in_review) == State.IN_REVIEW


def test_withdraw(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    browser, seen = signed_in(cast.head_roaster), {"revision": approved.revision}
    assert post(browser, "version_withdraw", approved, **seen)[0] == 400
    assert post(browser, "version_withdraw", approved, reason="Lot is gone")[0] == 400
    assert post(browser, "version_withdraw", approved, reason="Lot is gone", **seen)[0] == 302
    assert state(approved) == State.WITHDRAWN


def test_what_was_approved_meanwhile_is_not_withdrawn_for_a_draft(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    """The version before it is superseded by then: the recipe would be left with none."""
    browser, data = signed_in(cast.head_roaster), {"reason": "Typing error"}
    data |= {"revision": str(in_review.revision)}
    second = cast.second_roaster
    seen = in_review.content_digest
    approve(by=second, version=in_review, credentials=credentials(second), seen=seen)
    status, page = post(browser, "version_withdraw", in_review, **data)
    assert (status, "was changed meanwhile" in page) == (412, True)
    assert state(in_review) == State.APPROVED
    # Somebody who has now seen that it is approved may still mean it.
    now = Version.objects.get(pk=in_review.pk).revision
    assert f'name="revision" value="{now}"' in page


def test_what_was_corrected_meanwhile_is_not_returned_for_what_it_said(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    browser, head = signed_in(cast.second_roaster), cast.head_roaster
    seen = {"comment": "Dose is too much", "revision": in_review.revision}
    back = return_to_author(
        by=cast.second_roaster,
        version=in_review,
        revision=in_review.revision,
        comments={"": "Less"},
    )
    less = FORMULA | {"dose_mass": number("17.5")}
    now = edit_draft(by=head, version=back, revision=back.revision, values=less)
    submit(by=head, version=now, revision=now.revision)
    assert post(browser, "version_return", in_review, **seen)[0] == 412
    assert state(in_review) == State.IN_REVIEW


def test_comments_escape_what_people_write(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    browser = signed_in(cast.second_roaster)
    post(browser, "version_comment", in_review, text="<script>alert(1)</script>")
    page = browser.get(in_review.get_absolute_url()).content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert post(browser, "version_comment", in_review, text="")[0] == 400


@pytest.mark.parametrize("name", ["version_submit", "draft_new", "version_comment"])
def test_buttons_are_posts(cast: Cast, signed_in: SignedIn, draft: Version, name: str) -> None:
    url = reverse(f"recipes:{name}", args=[draft.pk])
    assert signed_in(cast.head_roaster).get(url).status_code == 405


def test_a_new_draft_from_a_version(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    browser = signed_in(cast.head_roaster)
    assert post(browser, "draft_new", approved)[0] == 302
    assert approved.recipe.versions.filter(based_on=approved, state=State.DRAFT).count() == 1
    first = reverse("recipes:draft_first", args=[approved.recipe_id])
    assert browser.post(first).status_code == 302
