"""A parameter over time: what versions said, what sites held, what permits changed."""

import re
from datetime import timedelta
from decimal import Decimal
from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from recipes.coffees.models import Recipe
from recipes.formula.parameters import PARAMETERS
from recipes.overview.drawing import QUARTER, drawn_until, over_time_drawing
from recipes.overview.spans import over_time
from recipes.permits.actions import end
from recipes.permits.models import Permit
from recipes.publishing import run
from stations.equipment.models import Slot
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, measure
from tests.recipes.permits.test_permits import permit
from tests.recipes.shelf import make_approved
from web.charts import Lanes
from web.drawings import digest_of

__all__ = ["send"]
pytestmark = pytest.mark.django_db
TEMPERATURE = PARAMETERS["brew_temperature"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """In force everywhere, one slot on a permit for 91.5 °C."""
    run.run(send().pk)
    permit([bar.slots[0]], bar.cast.head_roaster)
    return bar


def lines(recipe: Recipe, sites: frozenset[int] | None = None) -> list[tuple[object, ...]]:
    found = over_time(recipe, TEMPERATURE, sites, timezone.now())
    return [(one.site, one.basis, one.slots, one.value, one.until is None) for one in found.slots]


def test_versions_sites_and_permits(placed: Bar) -> None:
    recipe, site = placed.version.recipe, placed.cast.site
    everywhere = {
        each: Slot.objects.filter(station__machine__site=each).count()
        for each in (site, placed.cast.other_site)
    }
    value = placed.version.formula.get(code="brew_temperature").target
    assert set(lines(recipe)) == {
        ("Harbour", "publication", everywhere[site], value, True),
        ("Upland", "publication", everywhere[placed.cast.other_site], value, True),
        ("Harbour", "permit", 1, Decimal("91.5"), True),
    }


def test_its_chart_is_drawn_once_a_quarter_of_an_hour(placed: Bar) -> None:
    """What lasts is drawn to a moment that stands still for a while, or nothing would be kept."""
    begun = timezone.now().replace(minute=45, second=0, microsecond=0) + timedelta(days=1)
    drawn = [
        digest_of(over_time_drawing(over_time(placed.version.recipe, TEMPERATURE, None, at)))
        for at in (begun, begun + timedelta(minutes=14, seconds=59), begun + timedelta(minutes=15))
    ]
    assert drawn[0] == drawn[1] != drawn[2]


def test_a_history_of_seconds_is_drawn_over_a_quarter_of_an_hour(placed: Bar) -> None:
    """Else the moments at both ends would stand on each other, just before the quarter is full."""
    recipe = placed.version.recipe
    first = min(
        each.since for each in over_time(recipe, TEMPERATURE, None, timezone.now()).versions
    )
    late = drawn_until(first) - timedelta(seconds=1)
    (panel,) = over_time_drawing(over_time(recipe, TEMPERATURE, None, late)).parts
    assert isinstance(panel, Lanes)
    assert panel.until - panel.since >= QUARTER


def test_what_ended_has_an_end(placed: Bar) -> None:
    recipe, cast = placed.version.recipe, placed.cast
    [granted] = Permit.objects.all()
    end(by=cast.head_roaster, permit=granted, revision=granted.revision, reason="Gasket replaced")
    station = placed.stations[0]
    accept(measure(station, "4.2", cast.technician), cast.technician)
    kinds = {(basis, site): still for site, basis, _, _, still in lines(recipe)}
    assert kinds["permit", "Harbour"] is False
    assert kinds["re_translation", "Harbour"] is True


def test_others_sites_stay_hidden(placed: Bar) -> None:
    recipe, site = placed.version.recipe, placed.cast.site
    assert {one[0] for one in lines(recipe, frozenset({site.pk}))} == {"Harbour"}
    assert lines(recipe, frozenset()) == []


def test_page_with_chart_and_tables(placed: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(placed.cast.owner)
    page = unescape(browser.get(f"/recipes/{placed.version.recipe_id}/over-time/").content.decode())
    drawn = re.search(r'<svg role="img".*?</svg>', page, re.DOTALL)
    assert drawn
    assert all(
        word in drawn[0] for word in ("Harbour", "Upland", "Versions", "on permit", "93.0 °C")
    )
    assert "held at 2 sites, 1 permit" in page
    assert "91.5" in page
    assert "scald" in page


def test_a_parameter_the_permit_leaves_alone(placed: Bar, signed_in: SignedIn) -> None:
    address = f"/recipes/{placed.version.recipe_id}/over-time/?parameter=water_volume"
    page = signed_in(placed.cast.owner).get(address).content.decode()
    assert "not changed by it" in page


def test_questions_do_not_grow(placed: Bar) -> None:
    recipe = placed.version.recipe
    with CaptureQueriesContext(connection) as few:
        over_time(recipe, TEMPERATURE, None, timezone.now())
    for _ in range(3):
        make_approved(placed.cast, recipe)
    with CaptureQueriesContext(connection) as many:
        found = over_time(recipe, TEMPERATURE, None, timezone.now())
    assert len(found.versions) == 4
    assert len(many) == len(few) == 5


@pytest.mark.parametrize("code", ["", "nonsense", "x\x00"])
def test_an_unknown_parameter_is_named(placed: Bar, signed_in: SignedIn, code: str) -> None:
    browser: Client = signed_in(placed.cast.owner)
    answer = browser.get(f"/recipes/{placed.version.recipe_id}/over-time/", {"parameter": code})
    assert answer.status_code == 400
    assert "parameter" in answer.content.decode()
