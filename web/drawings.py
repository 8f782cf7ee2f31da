"""Charts by what is in them: drawn once for all processes, and after the page where it takes long.

Drawing one takes longer than all the rest of a page. What was drawn before stands in the page; of
what is new a page draws `AT_ONCE` parts, and the rest asks for itself as soon as the page is there.
The digest is of everything in the drawing, numbers and words: who knows it has seen the page.
"""

import hashlib
from typing import TYPE_CHECKING

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe

from audit.quick import quick
from web.pages import PageRequest, page

if TYPE_CHECKING:
    from web.charts import Drawing

AT_ONCE = 2  # parts that one answer draws, some hundredths of a second each
KEPT = 6 * 3600  # s: a new release draws its own by then
WAITS = 3600  # s that what was not drawn yet can be asked for
HEX = 64


def digest_of(drawing: "Drawing") -> str:
    """Of all that is in it, exactly: plain data says it all when printed."""
    return hashlib.sha256(repr(drawing).encode()).hexdigest()


def drawn(drawing: "Drawing") -> SafeString:
    """The picture, drawn now or before."""
    return drawn_before(drawing) or _draw(drawing)


def drawn_before(drawing: "Drawing") -> SafeString | None:
    """The picture, if any process has drawn it; nothing while the broker is away."""
    kept = quick.get(f"drawn:{digest_of(drawing)}")
    return mark_safe(kept) if isinstance(kept, str) else None  # noqa: S308 - by chart_svg


def _draw(drawing: "Drawing") -> SafeString:
    # Imported here: Altair takes a second to load, and few pages draw.
    from web.chart_svg import svg_of  # noqa: PLC0415

    svg = svg_of(drawing.parts, drawing.text)
    quick.set(f"drawn:{digest_of(drawing)}", str(svg), KEPT)
    return svg


def ask_later(drawing: "Drawing") -> str:
    """Its digest, by which it can be asked for; empty where nothing can be kept."""
    digest = digest_of(drawing)
    quick.set(f"asked:{digest}", drawing, WAITS)
    return digest if quick.get(f"asked:{digest}") is not None else ""


@page()
def one_drawing(request: PageRequest, digest: str) -> HttpResponse:
    """A chart of a page that was answered before it was drawn: alone, or as the part of the page.

    Raises Http404 for one that no page asked for of late.
    """
    from web.charts import Drawing  # noqa: PLC0415

    found = quick.get(f"asked:{digest}") if len(digest) == HEX else None
    if not isinstance(found, Drawing):
        raise Http404
    picture = drawn(found)  # whatever its parts: a page by itself finds it drawn
    if request.headers.get("HX-Request") == "true":
        return HttpResponse(picture)
    return render(request, "web/one_drawing.html", {"drawing": found})
