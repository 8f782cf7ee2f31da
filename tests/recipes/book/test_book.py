"""The recipe book: approved recipes alone, by coffee, each with a code that opens its page."""

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from recipes.book.book import chapters
from recipes.book.pdf import book_pdf
from tests.audit.sealed import unguarded
from tests.cast import Cast, SignedIn
from tests.recipes import shelf

pytestmark = pytest.mark.django_db


def absolute(path: str) -> str:
    return f"https://bar.example{path}"


def test_approved_recipes_by_coffee(cast: Cast) -> None:
    second = shelf.make_recipe(cast)
    approved = shelf.make_approved(cast, second)
    shelf.make_draft(cast, shelf.make_recipe(cast, drink="lungo"))
    [chapter] = chapters(absolute)
    assert chapter.coffee == second.coffee
    [leaf] = chapter.leaves
    assert (leaf.version, leaf.intact) == (approved, True)
    assert leaf.address == absolute(second.get_absolute_url())
    newer = shelf.make_approved(cast, second, {**shelf.FORMULA, "dose_mass": shelf.number("18.4")})
    [[leaf]] = [each.leaves for each in chapters(absolute)]
    assert leaf.version == newer


def test_the_page_and_what_was_altered(cast: Cast, signed_in: SignedIn) -> None:
    approved = shelf.make_approved(cast, shelf.make_recipe(cast))
    barista = signed_in(cast.barista)
    page = barista.get("/recipes/book/").content.decode()
    assert f"{approved.recipe.drink}, version 1" in page
    assert "Brew ratio" in page
    assert "scald" in page
    unguarded("UPDATE recipes_formulavalue SET target = 12 WHERE code = 'dose_mass'")
    altered = barista.get("/recipes/book/").content.decode()
    assert "Altered since it was signed" in altered
    assert "Brew ratio" not in altered


def test_as_pdf(cast: Cast, signed_in: SignedIn) -> None:
    recipe = shelf.make_recipe(cast)
    shelf.make_approved(cast, recipe)
    answer = signed_in(cast.barista).get("/recipes/book.pdf")
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert b"/Title (Recipe book)" in answer.content
    assert len(re.findall(rb"/Type /Page\b", answer.content)) == 1
    assert not book_pdf([], timezone.now(), "Nobody").startswith(b"<")


def test_a_book_costs_the_same_however_thick(cast: Cast) -> None:
    shelf.make_approved(cast, shelf.make_recipe(cast))

    def cost() -> int:
        with CaptureQueriesContext(connection) as asked:
            chapters(absolute)
        return len(asked)

    few = cost()
    for drink in ("lungo", "ristretto", "long black"):
        shelf.make_approved(cast, shelf.make_recipe(cast, drink=drink))
    assert cost() == few
