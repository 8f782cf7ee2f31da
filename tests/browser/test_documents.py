"""Recipes out and in from their pages: the book printed and as PDF, the files exported, changed
and taken in as drafts, and a faulty one refused with every fault by its place."""

import json
from io import BytesIO
from pathlib import Path

from openpyxl import load_workbook
from playwright.sync_api import Page, expect

from recipes.coffees.models import Recipe
from recipes.versions.models import Version
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.browser.test_main_path import press


def saved(page: Page, words: str) -> bytes:
    """What a link of the page has one save."""
    with page.expect_download() as download:
        press(page, words)
    return Path(download.value.path()).read_bytes()


def test_the_book_and_files_out_and_in(open_page: OpenPage, bar: Bar, tmp_path: Path) -> None:
    page = open_page(bar.cast.head_roaster, "/recipes/")
    press(page, "Recipe book")
    expect(page.get_by_role("button", name="Print")).to_be_visible()
    expect(page.get_by_role("img", name="QR code of")).to_have_count(1)
    assert page.pdf(format="A4").startswith(b"%PDF")
    assert saved(page, "Save as PDF").startswith(b"%PDF")
    page.goto("/recipes/")
    press(page, "Files")
    told = json.loads(saved(page, "JSON"))
    book = load_workbook(BytesIO(saved(page, "Spreadsheet")), read_only=True)
    assert book.worksheets
    [one] = told["recipes"]
    one["formula"]["brew_temperature"]["target"] = "92.7"
    one["note"] = "Cooler, as the guest roastery has it."
    _taken_in(page, told, tmp_path)
    one["formula"]["brew_temperature"]["target"] = "a lot"
    _refused(page, told, tmp_path)


def _given(page: Page, told: object, tmp_path: Path) -> None:
    path = tmp_path / "recipes.json"
    path.write_text(json.dumps(told), encoding="utf-8")
    page.goto("/recipes/files/")
    page.get_by_label("File").set_input_files(path)
    press(page, "Import as drafts")


def _taken_in(page: Page, told: object, tmp_path: Path) -> None:
    """A draft that somebody else signs, beside what is approved."""
    before = Recipe.objects.count()
    _given(page, told, tmp_path)
    expect(page.get_by_text("1 draft begun, 0 unchanged.")).to_be_visible()
    draft = Version.objects.latest("pk")
    assert (draft.state, f"{draft.stated['brew_temperature'].target:f}") == ("draft", "92.7")
    assert Recipe.objects.count() == before


def _refused(page: Page, told: object, tmp_path: Path) -> None:
    """Nothing of it is kept, and the page says where it is wrong."""
    before = Version.objects.count()
    _given(page, told, tmp_path)
    expect(page.get_by_text("Nothing was imported")).to_be_visible()
    expect(page.get_by_role("table", name="To put right")).to_contain_text("brew_temperature")
    axe(page)
    assert Version.objects.count() == before
