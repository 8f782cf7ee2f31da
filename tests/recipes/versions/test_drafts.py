"""Drafts: begun, edited row by row, and never by accident."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.coffees.actions import add_lot
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from stations.metrology.formula import Stated
from tests.cast import Cast
from tests.recipes.shelf import FORMULA, make_recipe, number


def formula_of(version: Version) -> Formula:
    return Version.objects.get(pk=version.pk).stated


def test_numbers_go_up_one_by_one(cast: Cast, recipe: Recipe) -> None:
    made = [new_draft(by=cast.head_roaster, recipe=recipe) for _ in range(3)]
    assert [version.number for version in made] == [1, 2, 3]


def test_a_draft_begins_with_the_formula_it_is_based_on(cast: Cast, approved: Version) -> None:
    made = new_draft(by=cast.second_roaster, recipe=approved.recipe, based_on=approved)
    assert formula_of(made) == FORMULA
    assert (made.author, made.last_editor) == (cast.second_roaster, cast.second_roaster)


def test_a_draft_begins_from_its_own_recipe_only(cast: Cast, approved: Version) -> None:
    other = make_recipe(cast, "filter")
    with pytest.raises(Refused, match="another recipe"):
        new_draft(by=cast.head_roaster, recipe=other, based_on=approved)


def test_only_what_differs_is_written(cast: Cast, draft: Version) -> None:
    wanted = FORMULA | {"brew_temperature": number("93.5", "0.5", "0.5"), "water_volume": Stated()}
    before = Entry.objects.order_by("-pk").values_list("pk", flat=True)[0]
    edit_draft(by=cast.second_roaster, version=draft, revision=draft.revision, values=wanted)
    assert formula_of(draft) == wanted
    lines = Entry.objects.filter(pk__gt=before, parameter__isnull=False)
    assert {(line.parameter, line.operation, line.unit) for line in lines} == {
        ("brew_temperature", "changed", "Cel"),
        ("water_volume", "removed", "mL"),
    }
    assert lines.get(operation="changed").changes == {"target": ["93.0", "93.5"]}


def test_equal_numbers_are_no_change(cast: Cast, draft: Version) -> None:
    same = FORMULA | {"dose_mass": number("18.00", "0.10", "0.1")}
    before = Entry.objects.count()
    now = edit_draft(by=cast.second_roaster, version=draft, revision=draft.revision, values=same)
    assert (now.revision, now.last_editor) == (draft.revision, cast.head_roaster)
    assert Entry.objects.count() == before
    assert str(formula_of(draft)["dose_mass"].target) == "18.0"


def test_a_changed_number_is_kept_digit_for_digit(cast: Cast, draft: Version) -> None:
    wanted = FORMULA | {"dose_mass": number("18.50", "0.1", "0.1")}
    edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values=wanted)
    assert str(formula_of(draft)["dose_mass"].target) == "18.50"


def test_an_edit_makes_its_editor_the_last(cast: Cast, draft: Version) -> None:
    now = edit_draft(
        by=cast.second_roaster, version=draft, revision=draft.revision, values=FORMULA, note="Why"
    )
    assert (now.last_editor, now.note, now.revision) == (
        cast.second_roaster,
        "Why",
        draft.revision + 1,
    )


def test_an_older_edit_loses(cast: Cast, draft: Version) -> None:
    edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values={})
    with pytest.raises(Stale):
        edit_draft(by=cast.second_roaster, version=draft, revision=draft.revision, values=FORMULA)
    assert formula_of(draft) == {}


def test_all_problems_are_told_and_nothing_is_written(cast: Cast, draft: Version) -> None:
    wrong = {"dose_mass": number("300"), "brew_pressure": number("9", "-1"), "colour": Stated()}
    with pytest.raises(Invalid) as told:
        edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values=wrong)
    fields = [problem.field for problem in told.value.problems]
    assert fields == ["colour", "dose_mass", "brew_pressure_below"]
    assert formula_of(draft) == FORMULA


def test_a_foreign_lot_is_refused(cast: Cast, draft: Version) -> None:
    other = make_recipe(cast, "filter").coffee
    day = draft.created_at.date()
    lot = add_lot(by=cast.head_roaster, coffee=other, code="A", roasted_on=day)
    with pytest.raises(Invalid, match="lot"):
        edit_draft(
            by=cast.head_roaster, version=draft, revision=draft.revision, values=FORMULA, lot=lot
        )


def test_what_is_no_draft_is_not_edited(cast: Cast, in_review: Version) -> None:
    with pytest.raises(Refused, match="only a version that is draft"):
        edit_draft(by=cast.head_roaster, version=in_review, revision=in_review.revision, values={})


def test_a_whole_formula_is_written_in_few_statements(cast: Cast, recipe: Recipe) -> None:
    draft = new_draft(by=cast.head_roaster, recipe=recipe)
    with CaptureQueriesContext(
        connection,
    ) as few:
        edit_draft(by=cast.head_roaster, version=draft, revision=1, values=FORMULA)
    writes = [
        q for q in few.captured_queries if q["sql"].startswith(("INSERT", "UPDATE", "DELETE"))
    ]
    assert len(writes) == 2  # the version's row, and all values in one


def test_only_head_roasters_draft(cast: Cast, draft: Version) -> None:
    for person in (cast.owner, cast.shop_lead, cast.barista, cast.technician):
        with pytest.raises(NotPermitted):
            new_draft(by=person, recipe=draft.recipe)
        with pytest.raises(NotPermitted):
            edit_draft(by=person, version=draft, revision=draft.revision, values=FORMULA)
