"""The product's addresses and one more: a page showing every shared part."""

from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import URLPattern, URLResolver, path

from config.urls import urlpatterns as product
from tests.web.gallery.data import context

PAGE = Path(__file__).with_name("page.html")


def gallery(request: HttpRequest) -> HttpResponse:
    """Every part once; ?bound=1 shows the forms with errors."""
    page = engines["django"].from_string(PAGE.read_text())
    return HttpResponse(page.render(context(bound="bound" in request.GET), request))


urlpatterns: list[URLPattern | URLResolver] = [path("gallery/", gallery), *product]
