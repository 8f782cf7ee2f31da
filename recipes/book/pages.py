"""The recipe book as a page to print, and as a file."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone

from people.persons.verbs import Verb
from recipes.book.book import chapters
from recipes.book.pdf import book_pdf
from web.pages import PageRequest, page
from web.units import on_paper


@page(Verb.RECIPE_VIEW)
def book(request: PageRequest) -> HttpResponse:
    """Every approved recipe by coffee, each with a code that opens its page."""
    with on_paper():
        context = {"chapters": chapters(request.build_absolute_uri), "now": timezone.now()}
        return render(request, "recipes/book/book.html", context)


@page(Verb.RECIPE_VIEW)
def book_file(request: PageRequest) -> HttpResponse:
    """The same as PDF."""
    with on_paper():
        found = chapters(request.build_absolute_uri)
        made = book_pdf(found, timezone.now(), request.user.name)
    answer = HttpResponse(made, content_type="application/pdf")
    answer["Content-Disposition"] = 'attachment; filename="recipe-book.pdf"'
    return answer
