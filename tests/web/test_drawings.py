"""Charts drawn once for all processes, and after the page where a page has many new ones."""

from random import random

import pytest
from django.template import Context, Template
from django.test import Client, RequestFactory

from tests.cast import Cast, SignedIn
from web import chart_svg, drawings
from web.charts import Curve, Drawing, Panel, drawing

PART = Template('{% for drawing in all %}{% include "parts/drawing.html" %}{% endfor %}')


def new(panels: int = 1) -> Drawing:
    """One that nobody has drawn."""
    panel = Panel("sum / g", "shot", (Curve("sums", (1.0, 2.0), (random(), 1.0)),))
    return drawing([panel] * panels, f"Number {random()}.")


def shown(*every: Drawing) -> str:
    return PART.render(Context({"all": every, "request": RequestFactory().get("/")}))


def test_what_any_process_drew_is_not_drawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    one = new()
    before = one.svg
    monkeypatch.setattr(chart_svg, "svg_of", lambda *_: pytest.fail("drawn again"))
    again = drawing(one.parts, one.text)
    assert again.svg == before
    assert before in shown(again)


def test_another_number_or_word_is_another_drawing() -> None:
    one = new()
    assert drawings.digest_of(one) == drawings.digest_of(drawing(one.parts, one.text))
    assert drawings.digest_of(one) != drawings.digest_of(drawing(one.parts, one.text + "!"))
    assert drawings.digest_of(one) != drawings.digest_of(new())


def test_a_page_draws_little_that_is_new_and_the_rest_asks_for_itself(
    cast: Cast, signed_in: SignedIn
) -> None:
    first, second, third = new(), new(drawings.AT_ONCE), new()
    page = shown(first, second, third)
    later = f"/drawings/{drawings.digest_of(second)}/"
    assert page.count("<svg") == 2
    assert f'hx-get="{later}"' in page
    assert all(one.text in page for one in (first, second, third))
    browser = signed_in(cast.barista)
    part = browser.get(later, headers={"HX-Request": "true"}).content.decode()
    assert part.startswith('<svg role="img"')
    alone = browser.get(later).content.decode()
    assert part in alone
    assert "<h1>Chart</h1>" in alone
    assert part in shown(first, second, third)


def test_one_of_many_parts_is_drawn_by_itself(cast: Cast, signed_in: SignedIn) -> None:
    """Without script there is nobody to ask once more."""
    late = new(drawings.AT_ONCE + 7)
    assert "<svg" not in shown(late)
    alone = signed_in(cast.barista).get(f"/drawings/{drawings.digest_of(late)}/").content.decode()
    assert '<svg role="img"' in alone
    assert "drawn-later" not in alone


def test_what_no_page_asked_for_is_not_drawn(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    for digest in (drawings.digest_of(new()), "x", "f" * 65):
        assert browser.get(f"/drawings/{digest}/").status_code == 404


@pytest.mark.django_db
def test_nobody_signed_in_is_shown_none(client: Client) -> None:
    late = new(9)
    assert "hx-get" in shown(late)
    answer = client.get(f"/drawings/{drawings.digest_of(late)}/")
    assert answer.status_code == 302


def test_without_a_broker_a_page_draws_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("web.quick_cache.QuickCache._asked_again_at", float("inf"))
    page = shown(new(), new(4))
    assert page.count("<svg") == 2
    assert "hx-get" not in page
