"""Variants and racing people: what is signed is what was seen, and one edit of a revision wins."""

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest

from audit.errors import DomainError, Stale
from recipes.variants.actions import remove_variant, set_variant
from recipes.variants.models import VariantValue
from recipes.versions.digest import content_digest
from recipes.versions.models import Version
from recipes.versions.review import approve, return_to_author, submit
from tests.bar import PLAIN, machine_type
from tests.cast import Cast, credentials
from tests.races import at_once
from tests.recipes.shelf import make_draft, make_recipe, number
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, sent_for_review
from tests.services import rounds

pytestmark = pytest.mark.django_db(transaction=True)
ROUNDS = rounds(200, 8)
OTHER = FLAT | {"beverage_mass": number("35.0", "3", "3")}


def test_submit_against_a_bare_update_of_a_variant(cast: Cast) -> None:
    recipe, plain = make_recipe(cast), machine_type("Plain", PLAIN)
    for _ in range(ROUNDS):
        draft = add_variant(cast, make_draft(cast, recipe, STAGED), plain)
        now = Version.objects.get(pk=draft.pk)
        rows = VariantValue.objects.filter(version=draft, code="dose_mass")
        moves: list[Callable[[], object]] = [
            partial(submit, by=cast.head_roaster, version=now, revision=now.revision),
            partial(rows.update, above=1),
        ]
        at_once(moves)
        found = Version.objects.with_recipe().get(pk=draft.pk)
        assert found.state == Version.State.IN_REVIEW
        assert found.content_digest == content_digest(found)


def test_approve_against_another_variant(cast: Cast) -> None:
    recipe, plain = make_recipe(cast), machine_type("Plain", PLAIN)

    def rework(version: Version) -> Version:
        back = return_to_author(
            by=cast.second_roaster, version=version, revision=version.revision,
            comments={"": "Less"},
        )  # fmt: skip
        return sent_for_review(cast, add_variant(cast, back, plain, OTHER))

    for _ in range(ROUNDS):
        draft = add_variant(cast, make_draft(cast, recipe, STAGED), plain)
        version = sent_for_review(cast, draft)
        seen, by = version.content_digest, cast.second_roaster
        sign = partial(approve, by=by, version=version, credentials=credentials(by), seen=seen)
        told = at_once([sign, partial(rework, version)])
        assert all(isinstance(one, Version | DomainError) for one in told)
        now = Version.objects.with_recipe().get(pk=version.pk)
        if now.signature:
            assert now.signature.digest == content_digest(now) == seen


def test_two_edits_of_one_revision(cast: Cast) -> None:
    plain = machine_type("Plain", PLAIN)
    draft = add_variant(cast, make_draft(cast, make_recipe(cast), STAGED), plain)
    for turn in range(ROUNDS):
        draft.refresh_from_db()
        edit: dict[str, Any] = {
            "by": cast.head_roaster, "version": draft, "machine_type": plain,
            "revision": draft.revision,
        }  # fmt: skip
        values = FLAT | {"dose_mass": number(f"17.{turn}")}
        moves = [partial(set_variant, **edit, values=values), partial(remove_variant, **edit)]
        (lost,) = (one for one in at_once(moves) if isinstance(one, Exception))
        assert isinstance(lost, Stale)
        if not Version.objects.get(pk=draft.pk).variants:
            add_variant(cast, draft, plain)
