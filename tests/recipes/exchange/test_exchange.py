"""Recipes as files: what goes out comes in again, as drafts, all or nothing."""

import json
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from jsonschema import Draft202012Validator
from openpyxl import load_workbook

from audit.errors import Invalid, NotPermitted
from recipes.coffees.models import Coffee
from recipes.exchange.actions import import_recipes
from recipes.exchange.document import FORMAT, schema
from recipes.exchange.pages import exported
from recipes.exchange.reading import given, read_json
from recipes.exchange.sheet import read_sheet, write_sheet
from recipes.versions.models import Version
from tests.calling import ROOT, act
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes import shelf

pytestmark = pytest.mark.django_db
NEW: dict[str, Any] = {
    "coffee": "Evening blend", "rest_from": 7, "rest_to": 30, "drink": "Double", "note": "=Soft",
    "formula": {
        "dose_mass": {"target": "18.50", "below": "0.1", "above": "0.1", "unit": "g"},
        "beverage_mass": {"target": "37", "unit": "g"},
        "brew_temperature": {"target": "92.05", "unit": "Cel"},
        "ends_by": {"text": "mass"},
    },
}  # fmt: skip


def file_of(*recipes: object) -> dict[str, object]:
    return {"format": FORMAT, "recipes": list(recipes)}


@pytest.fixture
def approved(cast: Cast) -> Version:
    return shelf.make_approved(cast, shelf.make_recipe(cast))


def test_what_goes_out_is_as_its_schema_says(approved: Version) -> None:
    rules = schema("https://bar.example/recipes/schema.json")
    Draft202012Validator.check_schema(rules)
    out = exported()
    Draft202012Validator(rules).validate(out)
    [recipe] = given(out)
    assert recipe.formula == dict(approved.stated)


def test_unchanged_recipes_begin_nothing(cast: Cast, approved: Version) -> None:
    for read in (
        read_json(json.dumps(exported()).encode()),
        read_sheet(write_sheet(exported()["recipes"])),  # type: ignore[arg-type]
    ):
        done = import_recipes(by=cast.head_roaster, recipes=read)
        assert (done.drafts, done.unchanged) == ([], 1)
    assert Version.objects.count() == 1


def test_drafts_never_approved(cast: Cast, approved: Version) -> None:
    changed = json.loads(json.dumps(exported()))["recipes"][0]
    changed["formula"]["dose_mass"]["target"] = "18.4"
    done = import_recipes(by=cast.head_roaster, recipes=given(file_of(changed, NEW)))
    assert [version.state for version in done.drafts] == ["draft", "draft"]
    first, second = done.drafts
    assert (first.recipe, first.number, first.based_on) == (approved.recipe, 2, approved)
    assert first.stated.target("dose_mass") == Decimal("18.4")
    assert str(second.recipe) == str(Coffee.objects.get(name="Evening blend").recipes.get())
    assert second.stated.target("brew_temperature") == Decimal("92.05")
    assert second.note == "=Soft"
    assert Version.objects.approved().get() == approved


def test_a_sheet_says_the_same_and_no_cell_is_a_formula() -> None:
    data = write_sheet([NEW])
    [row] = read_sheet(data)
    assert row.formula == given(file_of(NEW))[0].formula
    sheet = load_workbook(BytesIO(data)).worksheets[0]
    assert {cell.data_type for line in sheet.iter_rows() for cell in line} <= {"s", "n"}


def test_all_or_nothing_with_every_fault_in_its_place(cast: Cast) -> None:
    no_coffee = {**NEW, "coffee": "Third", "rest_from": None}
    no_coffee = {name: value for name, value in no_coffee.items() if value is not None}
    hot = {**NEW, "drink": "Hot", "formula": {"brew_temperature": {"target": "300", "unit": "Cel"}}}
    with pytest.raises(Invalid) as told:
        import_recipes(by=cast.head_roaster, recipes=given(file_of(NEW, no_coffee, hot, NEW)))
    fields = [problem.field for problem in told.value.problems]
    assert fields == ["recipe 4, drink", "recipe 2, rest_from", "recipe 3, brew_temperature"]
    assert not Version.objects.exists()
    assert not Coffee.objects.exists()


def test_what_the_schema_refuses() -> None:
    wrong: dict[str, Any] = {"drink": "x", "odd": 1, "formula": {
        "dose_mass": {"target": 18, "unit": "oz"}, "colour": {"text": "brown"},
        "ends_by": {"text": "gravity"},
    }}  # fmt: skip
    with pytest.raises(Invalid) as told:
        given(file_of(NEW, wrong))
    assert {problem.field for problem in told.value.problems} == {
        "recipe 2", "recipe 2, formula", "recipe 2, formula.dose_mass.target",
        "recipe 2, formula.dose_mass.unit", "recipe 2, formula.ends_by.text",
    }  # fmt: skip


@pytest.mark.parametrize(
    "junk", [b"", b"\xff", b"[1,", b"{}", b"[]", b"[" * 100_000, b'{"format": 1}', b"x" * 2_000_001]
)
def test_what_is_no_json_file(junk: bytes) -> None:
    with pytest.raises(Invalid):
        read_json(junk)


@pytest.mark.parametrize("junk", [b"PK\x03\x04", b"PK", write_sheet([])])
def test_what_is_no_sheet(junk: bytes) -> None:
    with pytest.raises(Invalid):
        read_sheet(junk)


def test_on_the_page(cast: Cast, signed_in: SignedIn) -> None:
    roaster, path = signed_in(cast.head_roaster), "/recipes/files/"
    bad = {**NEW, "formula": {"brew_temperature": {"target": "300", "unit": "Cel"}}}
    sent = {"file": SimpleUploadedFile("a.json", json.dumps(file_of(bad)).encode())}
    told = roaster.post(path, sent)
    assert told.status_code == 400
    assert "recipe 1, brew_temperature" in told.content.decode()
    sent = {"file": SimpleUploadedFile("a.xlsx", write_sheet([NEW]))}
    assert roaster.post(path, sent)["Location"] == "/recipes/"
    assert Version.objects.get().state == "draft"
    assert signed_in(cast.barista).get("/recipes/recipes.json").json()["recipes"] == []
    assert signed_in(cast.barista).get("/recipes/recipes.xlsx").content.startswith(b"PK")
    assert signed_in(cast.barista).get("/recipes/schema.json").json()["$id"].endswith("schema.json")
    with pytest.raises(NotPermitted):
        import_recipes(by=cast.shop_lead, recipes=given(file_of(NEW)))


def test_over_the_api(cast: Cast, api_as: ApiAs, approved: Version) -> None:
    api = api_as(cast.head_roaster)
    read = api.get(f"{ROOT}/recipe-documents/").json()
    assert read["recipes"][0]["coffee"] == approved.recipe.coffee.name
    made = act(api, "recipe-documents/", file_of(NEW, *read["recipes"]))
    assert made.status_code == 201, made.content
    assert (len(made.json()["drafts"]), made.json()["unchanged"]) == (1, 1)
    wrong = act(api, "recipe-documents/", file_of({**NEW, "odd": 1}))
    assert wrong.status_code == 400
    assert "recipe 1" in json.dumps(wrong.json())
