"""Racing people: exactly one wins, the other is told why; each on a connection of its own."""

from collections.abc import Callable, Sequence
from functools import partial

import pytest

from audit.errors import DomainError, Refused, Stale
from people.persons.models import User
from people.signatures.models import Meaning, Signature
from recipes.requests.decisions import accept, decline
from recipes.versions.digest import content_digest
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import FormulaValue, Version
from recipes.versions.review import approve, return_to_author, submit, withdraw
from tests.cast import Cast, credentials, third_roaster
from tests.races import at_once
from tests.recipes.shelf import (
    FORMULA,
    ask,
    make_approved,
    make_draft,
    make_in_review,
    make_recipe,
    number,
)
from tests.services import rounds

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = rounds(200, 20)
State = Version.State
HOTTER = FORMULA | {"brew_temperature": number("94.5", "0.5", "0.5")}


def signing(version: Version, by: User) -> partial[Version]:
    digest = version.content_digest
    return partial(approve, by=by, version=version, credentials=credentials(by), seen=digest)


def losers(told: Sequence[object]) -> list[DomainError]:
    """Those who were told no; anything but a sentence for people is a fault."""
    wrong = [one for one in told if isinstance(one, Exception) and not isinstance(one, DomainError)]
    assert not wrong
    return [one for one in told if isinstance(one, DomainError)]


def test_two_approvals(cast: Cast) -> None:
    recipe, third = make_recipe(cast), third_roaster(cast)
    for _ in range(ROUNDS):
        version = make_in_review(cast, recipe)
        told = at_once([signing(version, cast.second_roaster), signing(version, third)])
        [lost] = losers(told)
        assert isinstance(lost, Refused)
        assert lost.message.endswith("only a version that is in review can be approved.")
        version.refresh_from_db()
        assert version.state == State.APPROVED
        signatures = Signature.objects.filter(meaning=Meaning.APPROVED, subject_id=version.pk)
        assert [s.pk for s in signatures] == [version.signature_id]


def test_approvals_of_two_versions(cast: Cast) -> None:
    recipe = make_recipe(cast)
    for _ in range(ROUNDS):
        older, newer = make_in_review(cast, recipe), make_in_review(cast, recipe)
        told = at_once([signing(v, cast.second_roaster) for v in (older, newer)])
        losers(told)
        states = dict(recipe.versions.values_list("number", "state"))
        assert states[newer.number] == State.APPROVED
        assert states[older.number] in {State.SUPERSEDED, State.IN_REVIEW}
        assert list(states.values()).count(State.APPROVED) == 1


def test_approve_against_return_edit_and_resubmit(cast: Cast) -> None:
    recipe = make_recipe(cast)

    def rework(version: Version) -> Version:
        back = return_to_author(
            by=cast.second_roaster,
            version=version,
            revision=version.revision,
            comments={"": "Hotter"},
        )
        kept = edit_draft(by=cast.head_roaster, version=back, revision=back.revision, values=HOTTER)
        return submit(by=cast.head_roaster, version=kept, revision=kept.revision)

    for _ in range(ROUNDS):
        version = make_in_review(cast, recipe)
        seen = version.content_digest
        losers(at_once([signing(version, cast.second_roaster), partial(rework, version)]))
        now = Version.objects.with_recipe().get(pk=version.pk)
        assert now.state in {State.APPROVED, State.IN_REVIEW}
        if now.signature:
            assert now.signature.digest == content_digest(now) == seen


def test_approve_against_withdraw(cast: Cast) -> None:
    recipe = make_recipe(cast)
    for _ in range(ROUNDS):
        version = make_in_review(cast, recipe)
        away = partial(
            withdraw,
            by=cast.head_roaster,
            version=version,
            revision=version.revision,
            reason="Gone",
        )
        told = at_once([signing(version, cast.second_roaster), away])
        version.refresh_from_db()
        # Who withdraws what is in review does not mean what was approved meanwhile.
        [lost] = losers(told)
        assert isinstance(lost, Refused | Stale)
        assert version.state == (State.APPROVED if version.signature_id else State.WITHDRAWN)


def test_approve_against_the_withdrawal_of_the_one_before(cast: Cast) -> None:
    recipe = make_recipe(cast)
    for _ in range(ROUNDS):
        before, version = make_approved(cast, recipe), make_in_review(cast, recipe)
        away = partial(
            withdraw, by=cast.head_roaster, version=before, revision=before.revision, reason="Gone"
        )
        losers(at_once([signing(version, cast.second_roaster), away]))
        states = dict(recipe.versions.values_list("number", "state"))
        assert states[version.number] == State.APPROVED
        assert states[before.number] in {State.SUPERSEDED, State.WITHDRAWN}


def test_two_edits_of_one_revision(cast: Cast) -> None:
    draft = make_draft(cast, make_recipe(cast))
    for turn in range(ROUNDS):
        dose = [number(f"18.{turn % 9}1"), number(f"19.{turn % 9}1")]
        edits = [
            partial(
                edit_draft, by=who, version=draft, revision=draft.revision,
                values=FORMULA | {"dose_mass": dose[side]},
            )
            for side, who in enumerate((cast.head_roaster, cast.second_roaster))
        ]  # fmt: skip
        [lost] = losers(at_once(edits))
        assert isinstance(lost, Stale)
        assert lost.current_revision == draft.revision + 1
        draft.refresh_from_db()


def test_submit_against_a_bare_update_of_its_formula(cast: Cast) -> None:
    recipe = make_recipe(cast)
    for _ in range(ROUNDS):
        draft = make_draft(cast, recipe)
        rows = FormulaValue.objects.filter(version=draft, code="dose_mass")
        moves: list[Callable[[], object]] = [
            partial(submit, by=cast.head_roaster, version=draft, revision=draft.revision),
            partial(rows.update, above=1),
        ]
        at_once(moves)
        now = Version.objects.with_recipe().get(pk=draft.pk)
        assert now.state == State.IN_REVIEW
        assert now.content_digest == content_digest(now)


def test_drafts_begun_together_get_numbers_of_their_own(cast: Cast) -> None:
    recipe = make_recipe(cast)
    begin = partial(new_draft, by=cast.head_roaster, recipe=recipe)
    for _ in range(ROUNDS):
        assert not losers(at_once([begin] * 4))
    numbers = sorted(recipe.versions.values_list("number", flat=True))
    assert numbers == list(range(1, 4 * ROUNDS + 1))


def test_a_request_is_decided_once(cast: Cast) -> None:
    approved = make_approved(cast, make_recipe(cast))
    for turn in range(ROUNDS):
        request = ask(cast, approved)
        others: list[Callable[[], object]] = [
            partial(accept, by=cast.second_roaster, request=request, revision=request.revision),
            partial(
                decline,
                by=cast.second_roaster,
                request=request,
                revision=request.revision,
                reason="No",
            ),
        ]
        first = partial(accept, by=cast.head_roaster, request=request, revision=request.revision)
        [lost] = losers(at_once([first, others[turn % 2]]))
        assert isinstance(lost, Refused)
        request.refresh_from_db()
        drafts = request.resulting_versions.count()
        assert drafts == (1 if request.state == "accepted" else 0)


def test_accept_against_the_approval_of_a_newer_version(cast: Cast) -> None:
    recipe = make_recipe(cast)
    approved = make_approved(cast, recipe)
    for _ in range(ROUNDS):
        request, newer = ask(cast, approved), make_in_review(cast, recipe)
        take = partial(accept, by=cast.head_roaster, request=request, revision=request.revision)
        losers(at_once([take, signing(newer, cast.second_roaster)]))
        approved = Version.objects.approved().get(recipe=recipe)
        assert approved == newer
        # Either it was applied to its base before that was superseded, or not at all.
        for draft in request.resulting_versions.all():
            assert draft.based_on_id == request.base_id
