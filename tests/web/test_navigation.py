"""Which pages each role is led to, and that every link leads somewhere."""

import pytest
from django.test import RequestFactory
from django.urls import reverse

from config.navigation import PLACES, places, places_for
from tests.cast import Cast, SignedIn

DESK = ["Home", "Board", "Grid", "Recipes", "Publications", "Requests", "Permits", "Tastings"]
SEEN = {
    "owner": [*DESK, "History", "Sites", "Machine types", "People", "Policy"],
    "head_roaster": [*DESK, "Coffees", "Sites", "Calibrations", "Machine types"],
    "shop_lead": [
        "Home",
        "Board",
        "Grid",
        "Recipes",
        "Publications",
        "Requests",
        "Permits",
        "Tastings",
        "Sites",
    ],
    "barista": ["Home", "Board", "Grid", "Recipes", "Sites"],
    "technician": ["Home", "Board", "Grid", "Recipes", "Sites", "Calibrations"],
}


@pytest.mark.parametrize("role", SEEN)
def test_each_role_sees_its_own_pages(cast: Cast, role: str) -> None:
    assert [item.label for item in places_for(getattr(cast, role), "/")] == SEEN[role]


@pytest.mark.parametrize("place", PLACES, ids=lambda place: place.label)
def test_every_place_is_an_address(place: object) -> None:
    assert reverse(place.url_name).startswith("/")  # type: ignore[attr-defined]


@pytest.mark.parametrize("role", SEEN)
def test_nobody_is_led_to_a_page_that_refuses_them(
    cast: Cast, signed_in: SignedIn, role: str
) -> None:
    person = getattr(cast, role)
    browser = signed_in(person)
    answers = {item.label: browser.get(item.url).status_code for item in places_for(person, "/")}
    assert answers == dict.fromkeys(SEEN[role], 200)


@pytest.mark.parametrize(
    ("path", "label"),
    [
        ("/", "Home"),
        ("/policy/", "Policy"),
        ("/recipes/1/compare/", "Recipes"),
        ("/versions/1/publish/", "Recipes"),
        ("/slots/1/", "Sites"),
    ],
)
def test_the_page_one_is_at_is_marked(cast: Cast, path: str, label: str) -> None:
    assert [item.label for item in places_for(cast.owner, path) if item.here] == [label]


def test_set_up_stands_apart_once(cast: Cast) -> None:
    assert [item.label for item in places_for(cast.owner, "/") if item.apart] == ["Sites"]


def test_without_anybody_signed_in_there_is_nothing() -> None:
    assert places(RequestFactory().get("/")) == {}
