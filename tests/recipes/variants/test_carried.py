"""Variants beside all that a version travels through: drafts, bases, files, the book, history."""

from decimal import Decimal
from typing import Any

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid
from recipes.book.book import chapters
from recipes.exchange.actions import import_recipes
from recipes.exchange.document import document
from recipes.exchange.reading import given
from recipes.exchange.sheet import read_sheet, write_sheet
from recipes.publishing import run
from recipes.requests.decisions import accept
from recipes.versions.dial_in import draft_from_shot
from recipes.versions.drafts import new_draft
from recipes.versions.holding import notes_read, said_at
from recipes.versions.models import Version
from recipes.versions.rebasing import draft_sides, newer_than_base, rebase_draft
from stations.machine_types.models import MachineType
from stations.metrology.formula import Stated
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar
from tests.cast import Cast
from tests.publishing import Publish
from tests.recipes.shelf import ask, number
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, signed

LESS = FLAT | {"beverage_mass": number("32.0", "3", "3")}
MORE = FLAT | {"beverage_mass": number("35.0", "3", "3")}


@pytest.fixture
def behind(cast: Cast, varied: Version, plain: MachineType) -> Version:
    """A draft of version 1 with less in its variant, while version 2 has more in its own."""
    first = signed(cast, varied)
    second = new_draft(by=cast.head_roaster, recipe=first.recipe, based_on=first)
    signed(cast, add_variant(cast, second, plain, MORE))
    draft = new_draft(by=cast.head_roaster, recipe=first.recipe, based_on=first)
    return add_variant(cast, draft, plain, LESS)


@pytest.mark.parametrize(("choice", "holds"), [("proposed", LESS), ("current", MORE)])
def test_of_two_variants_somebody_chooses_one(
    cast: Cast, behind: Version, plain: MachineType, choice: str, holds: object
) -> None:
    draft = Version.objects.with_recipe().get(pk=behind.pk)
    current = newer_than_base(draft)
    assert current
    (line,) = draft_sides(draft, current)
    assert (line.code, line.needs_choice) == (f"variant_{plain.pk}", True)
    assert "yield 32 g -3 +3" in (line.proposed or Stated()).text
    move: dict[str, Any] = {
        "by": cast.head_roaster, "version": draft, "revision": draft.revision,
        "current": current.pk,
    }  # fmt: skip
    with pytest.raises(Invalid, match="proposed or current"):
        rebase_draft(**move, choices={})
    moved = rebase_draft(**move, choices={line.code: choice})
    now = Version.objects.get(pk=moved.pk)
    assert now.based_on_id == current.pk
    assert now.variants == {plain.pk: holds}
    assert now.stated == STAGED


def test_an_accepted_request_leaves_variants_as_they_are(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    base = signed(cast, varied)
    request = ask(cast, base)
    accept(by=cast.second_roaster, request=request, revision=request.revision)
    draft = base.recipe.versions.order_by("-number")[0]
    assert draft.variants == {plain.pk: FLAT}
    assert draft.stated.target("brew_temperature") == Decimal("94.0")


def test_a_shot_by_a_variant_becomes_another_variant(
    both: Version, bar: Bar, send: Publish
) -> None:
    run.run(send(both).pk)
    slot = bar.stations[2].slots.get(number=1)
    shot = log_shot(
        slot=slot, by=bar.cast.barista,
        shot=Weighed(Decimal("18.0"), Decimal("33.1"), Decimal(25), None, ""),
    )  # fmt: skip
    draft = draft_from_shot(by=bar.cast.head_roaster, shot=shot)
    assert draft.stated == STAGED
    assert draft.variants[bar.plain.pk].target("beverage_mass") == Decimal("33.1")
    assert said_at(slot.station, [both]) == {both.pk: both.variants[bar.plain.pk]}
    assert said_at(bar.stations[0], [both]) == {both.pk: STAGED}


def test_the_bar_reads_the_notes_of_its_own_formula(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    add_variant(cast, varied, plain, FLAT | {"basket": Stated(text="15 g")})
    digest = signed(cast, varied).content_digest
    whole, own = notes_read(digest), notes_read(digest, plain.pk)
    assert whole and own  # noqa: PT018
    assert (whole.basket, own.basket) == ("", "15 g")


def test_the_history_says_who_changed_which_parameter_of_which_variant(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    add_variant(cast, varied, plain, MORE)
    entry = Entry.objects.filter(table_name="recipes_variantvalue").latest("id")
    assert entry.subject == f"{varied} for Plain"
    assert (entry.action, entry.parameter, entry.unit) == ("variant.edited", "beverage_mass", "g")
    assert entry.actor_id == cast.head_roaster.pk
    assert entry.changes == {"target": ["34.0", "35.0"]}


def test_out_as_a_file_and_in_again(cast: Cast, varied: Version, plain: MachineType) -> None:
    signed(cast, varied)
    file = document(Version.objects.approved().with_recipe().with_formula())
    (said,) = file["recipes"]
    assert said["variants"]["Plain"]["beverage_mass"] == {
        "target": "34.0", "below": "3", "above": "3", "unit": "g",
    }  # fmt: skip
    assert import_recipes(by=cast.head_roaster, recipes=given(file)).unchanged == 1
    said["variants"]["Plain"]["beverage_mass"]["target"] = "35.0"
    (draft,) = import_recipes(by=cast.head_roaster, recipes=given(file)).drafts
    assert draft.variants == {plain.pk: MORE}
    said["variants"] = {"Unknown": said["variants"]["Plain"]}
    with pytest.raises(Invalid, match="Unknown"):
        import_recipes(by=cast.head_roaster, recipes=given(file))


def test_a_spreadsheet_leaves_variants_as_they_are(
    cast: Cast, varied: Version, plain: MachineType
) -> None:
    signed(cast, varied)
    file = document(Version.objects.approved().with_recipe().with_formula())
    rows = read_sheet(write_sheet(file["recipes"]))
    assert import_recipes(by=cast.head_roaster, recipes=rows).unchanged == 1
    rows[0].said["formula"]["brew_temperature"]["target"] = "92.0"
    (draft,) = import_recipes(by=cast.head_roaster, recipes=rows).drafts
    assert draft.variants == {plain.pk: FLAT}


def test_the_book_prints_what_differs(cast: Cast, varied: Version) -> None:
    signed(cast, varied)
    [[leaf]] = [each.leaves for each in chapters(lambda path: path)]
    ((name, rows),) = leaf.variants
    assert name == "Plain"
    told = {row["label"]: row["new"] for row in rows}
    assert told["Yield"] == Decimal("34.0")
    assert told["Brew pressure"] is None
