"""The editor: the newest lot, tolerances to begin from, what is in use, and working it out."""

from datetime import date

import pytest
from django.urls import reverse

from recipes.coffees.actions import add_lot
from recipes.coffees.models import Recipe
from recipes.formula.forms import FormulaForm
from recipes.formula.formula import Formula
from recipes.versions.models import Version
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA, make_approved, make_draft, number


@pytest.fixture
def lots(cast: Cast, recipe: Recipe) -> list[int]:
    """Two lots, the older one entered last."""
    coffee, by = recipe.coffee, cast.head_roaster
    newest = add_lot(by=by, coffee=coffee, code="B", roasted_on=date(2026, 2, 1))
    older = add_lot(by=by, coffee=coffee, code="A", roasted_on=date(2026, 1, 1))
    return [newest.pk, older.pk]


def test_it_opens_with_the_newest_lot(
    cast: Cast, recipe: Recipe, lots: list[int], signed_in: SignedIn
) -> None:
    browser = signed_in(cast.head_roaster)
    browser.post(reverse("recipes:draft_first", args=[recipe.pk]))
    assert Version.objects.get().lot_id == lots[0]
    approved = make_approved(cast, recipe)
    browser.post(reverse("recipes:draft_new", args=[approved.pk]))
    assert Version.objects.get(based_on=approved).lot_id == lots[0]


def test_only_what_is_in_use_stands_open(cast: Cast, recipe: Recipe, signed_in: SignedIn) -> None:
    draft = make_draft(cast, recipe)
    address = reverse("recipes:version_edit", args=[draft.pk])
    page = signed_in(cast.head_roaster).get(address)
    form = page.context["form"]
    sections = {section.title: section for section in form.sections()}
    assert [line.parameter.code for line in sections["In the cup"].used] == [
        "dose_mass", "beverage_mass",
    ]  # fmt: skip
    assert sections["Pressure"].used == []
    shown = [line for each in sections.values() for line in (*each.used, *each.more)]
    assert len(shown) == len(list(form.lines()))
    assert "<summary>More: shot time</summary>" in page.content.decode()


def test_what_the_shot_ends_by_is_in_use() -> None:
    form = FormulaForm(initial={"ends_by": "time"})
    cup = form.sections()[0]
    assert "shot_time" in [line.parameter.code for line in cup.used]


def test_tolerances_begin_as_the_house_has_them(
    cast: Cast, recipe: Recipe, signed_in: SignedIn
) -> None:
    make_approved(cast, recipe)  # water ±2 mL, where ±1.5 mL is usual
    browser = signed_in(cast.head_roaster)
    browser.post(reverse("recipes:draft_first", args=[recipe.pk]))
    draft = Version.objects.get(state="draft")
    address = reverse("recipes:version_edit", args=[draft.pk])
    form = browser.get(address).context["form"]
    assert form["water_volume_below"].value() == number("2").target
    assert form["shot_time_above"].value() == number("3").target
    untouched = {field.html_name: field.value() or "" for field in form}
    typed = untouched | {"dose_mass": "18", "ends_by": "volume"}
    assert browser.post(address, typed).status_code == 302
    says = Version.objects.get(pk=draft.pk).stated
    assert says.keys() == {"dose_mass", "ends_by"}
    assert says["dose_mass"] == number("18", "0.1", "0.1")


def test_a_tolerance_typed_without_a_target_is_not_dropped(
    cast: Cast, recipe: Recipe, signed_in: SignedIn
) -> None:
    draft = make_draft(cast, recipe)
    address = reverse("recipes:version_edit", args=[draft.pk])
    browser = signed_in(cast.head_roaster)
    form = browser.get(address).context["form"]
    typed = {field.html_name: field.value() or "" for field in form} | {"rise_time_below": "0.7"}
    answer = browser.post(address, typed)
    assert answer.status_code == 400
    assert "0.7" in answer.content.decode()


def test_it_is_worked_out_without_saving(cast: Cast, recipe: Recipe, signed_in: SignedIn) -> None:
    draft = make_draft(cast, recipe)
    browser = signed_in(cast.head_roaster)
    address = reverse("recipes:version_edit", args=[draft.pk])
    form = browser.get(address).context["form"]
    typed = {field.html_name: field.value() or "" for field in form}
    typed |= {"beverage_mass": "100", "water_volume": "72", "brew_pressure": "9"}
    answer = browser.post(address, typed | {"work_out": "1"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "This cannot be" in page
    assert "1 : 5.56" in page
    assert 'value="100"' in page
    assert page.index('id="plan-drawn"') < page.index("Worked out")
    assert Version.objects.get(pk=draft.pk).stated == FORMULA
    assert browser.post(address, typed | {"dose_mass": "x", "work_out": "1"}).status_code == 400


def test_what_is_typed_is_drawn_beside_its_fields(
    cast: Cast, draft: Version, signed_in: SignedIn
) -> None:
    typed = {"revision": draft.revision, "brew_pressure": "9", "dose_mass": "18"}
    address = reverse("recipes:version_appraisal", args=[draft.pk])
    page = signed_in(cast.head_roaster).post(address, typed).content.decode()
    assert '<div id="plan-drawn" hx-swap-oob="true">' in page
    assert page.count("<svg") == 1


def test_nothing_typed_is_nothing_stated() -> None:
    form = FormulaForm({}, usual={"dose_mass": (number("1").target, number("1").target)})
    assert form.is_valid()
    assert form.values() == Formula()
