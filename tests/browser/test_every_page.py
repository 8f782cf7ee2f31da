"""Every page, as somebody sees it whose page it is, on their screen: axe-core finds nothing."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, dark, fits, fits_narrow, legible, touchable
from tests.browser.scene import Scene
from tests.browser.visits import (
    BEFORE_SIGNING_IN,
    NOT_PAGES,
    SCREENS,
    SECOND_FACTOR,
    VISITS,
    Visit,
    names,
)
from tests.cast import Cast


@pytest.mark.parametrize("person", VISITS)
def test_every_page_is_accessible(
    open_page: OpenPage, cast: Cast, scene: Scene, person: str
) -> None:
    page = open_page(getattr(cast, person), "/account/password/change/", screen=SCREENS[person])
    problems = [said for visit in VISITS[person] for said in looked_at(page, visit, scene)]
    assert not problems, "\n".join(problems)


def test_no_page_is_left_out() -> None:
    rows = [*BEFORE_SIGNING_IN, *(visit for visits in VISITS.values() for visit in visits)]
    assert names() == {visit.name for visit in rows} | NOT_PAGES | SECOND_FACTOR


def test_pages_before_signing_in_are_accessible(open_page: OpenPage, scene: Scene) -> None:
    page = open_page(None, reverse("account_login"), screen="phone")
    problems = [said for visit in BEFORE_SIGNING_IN for said in looked_at(page, visit, scene)]
    assert not problems, "\n".join(problems)


def looked_at(page: Page, visit: Visit, scene: Scene) -> list[str]:
    """What is wrong with the page, each sentence with its address."""
    path = address(visit, scene)
    response = page.goto(path)
    if response is None or response.status != 200:
        return [f"{path}: answered {response.status if response else 'nothing'}"]
    looks = (axe, fits, touchable, legible, fits_narrow, dark)
    return [f"{path}, {look.__name__}: {said}" for look in looks for said in _said(look, page)]


def _said(look: object, page: Page) -> list[str]:
    try:
        look(page)  # type: ignore[operator]
    except AssertionError as complaint:
        return [str(complaint)]
    return []


def address(visit: Visit, scene: Scene) -> str:
    """The path, with the scene's own numbers in it."""
    keys = {key: _key(key, what, scene) for key, what in visit.about.items()}
    numbers = {name: thing.pk for name, thing in vars(scene).items()}
    return reverse(visit.name, kwargs=keys) + visit.query.format(**numbers)


def _key(key: str, what: str, scene: Scene) -> object:
    if what.startswith("'"):
        return what.strip("'")
    return getattr(getattr(scene, what), "code" if key == "code" else "pk")
