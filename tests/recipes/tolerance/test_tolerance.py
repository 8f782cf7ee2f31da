"""A bar that runs six grams over: where it shows, for whom, and whether all bars pour alike."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from html import unescape
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from people.notices.kinds import kinds
from people.persons.verbs import Verb
from recipes.publishing import run
from recipes.tolerance.matters import outside
from recipes.tolerance.sameness import sameness
from recipes.tolerance.week import Span, groups_of
from stations.equipment.models import Slot
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.permits.test_permits import permit

SHOT = Weighed(Decimal("18.0"), Decimal("36.0"), Decimal(28))


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The recipe in every slot: 36 g, two either way."""
    run.run(send().pk)
    return bar


def pour(bar: Bar, slot: Slot, *yields: str) -> list[CheckShot]:
    """Shots that weigh so much."""
    who = bar.cast.head_roaster
    return [
        log_shot(by=who, slot=slot, shot=replace(SHOT, beverage_mass=Decimal(each)))
        for each in yields
    ]


def words(browser: Client, address: str) -> str:
    answer = browser.get(address)
    assert answer.status_code == 200, address
    return unescape(answer.content.decode())


def test_six_grams_over_shows_at_once_and_everywhere(placed: Bar, signed_in: SignedIn) -> None:
    pour(placed, placed.slots[0], "42.0")
    cast = placed.cast
    for who, home in ((cast.head_roaster, True), (cast.owner, True), (cast.shop_lead, True),
                      (cast.other_lead, False)):  # fmt: skip
        browser = signed_in(who)
        assert ("yield too high" in words(browser, "/")) is home or who is cast.shop_lead
        assert ("Harbour" in words(browser, "/tolerance/")) is home
        assert ("1 out" in words(browser, "/board/")) is home
        assert ("1 of 1 shot out" in words(browser, "/grid/")) is home
    assert "Slot 1: last shot out of tolerance" in words(signed_in(cast.shop_lead), "/")
    (found,) = outside()
    assert (found.sites, found.title) == ((cast.site.pk,), "Harbour pours out of tolerance")


@pytest.mark.parametrize("ended_by", ["within", "corrected", "left out", "placement", "a day"])
def test_it_ends(placed: Bar, send: Publish, ended_by: str, monkeypatch: Any) -> None:  # noqa: ANN401
    slot, who = placed.slots[0], placed.cast.head_roaster
    (shot,) = pour(placed, slot, "42.0")
    if ended_by == "within":
        pour(placed, slot, "36.4")
    elif ended_by in ("corrected", "left out"):
        to = replace(SHOT, left_out=True, beverage_mass=Decimal("42.0"))
        to = to if ended_by == "left out" else SHOT
        correct_shot(by=who, shot=shot, seen_corrections=0, to=to, reason="Scale")
    elif ended_by == "placement":
        CheckShot.objects.outside_now().get()
        permit([slot], who)
    else:
        monkeypatch.setattr("stations.shots.models.LATELY", timedelta(seconds=-1))
    assert not CheckShot.objects.outside_now().exists()
    assert list(outside()) == []


def test_the_kind_is_there_for_whoever_may_ask() -> None:
    kind = kinds()["outside"]
    assert (kind.page, kind.hears) == ("recipes:tolerance", Verb.REQUEST_MAKE)


def days(count: int = 7) -> Span:
    return Span(timezone.now().date() + timedelta(days=1), count)


def test_dots_lie_in_their_bands(placed: Bar) -> None:
    pour(placed, placed.slots[0], "36.0", "38.0", "38.1", "33.9")
    pour(placed, placed.slots[2], "36.0")
    site = placed.cast.site
    (bar_,) = groups_of([site], days(), "beverage_mass", recipe=None, by_station=False)
    assert (len(bar_.dots), bar_.out, bar_.off) == (5, 2, Decimal("0.40"))
    stations = groups_of(
        [site], days(), "beverage_mass", recipe=placed.version.recipe, by_station=True
    )
    assert [(one.station, len(one.dots)) for one in stations] == [
        ("Front, station 1", 4), ("Front, station 2", 1),
    ]  # fmt: skip
    assert {(dot.low, dot.high) for dot in bar_.dots} == {(Decimal(34), Decimal(38))}


OVER = ("41.8", "42.1", "42.3", "41.9", "42.2", "42.0")
FINE = ("35.9", "36.1", "36.3", "35.8", "36.2", "36.0")


def judged(bar: Bar, by: Any, recipe: Any = None) -> tuple[Sequence[str], ...]:  # noqa: ANN401
    now = timezone.now()
    same = sameness(
        by, recipe or bar.version.recipe, "beverage_mass", now - timedelta(days=7),
        now + timedelta(days=1),
    )  # fmt: skip
    assert same is not None
    return tuple([each.name for each in group] for group in (same.differing, same.same, same.open))


def test_the_bars_that_differ_are_named(placed: Bar, signed_in: SignedIn) -> None:
    far = Slot.objects.filter(station__machine__site=placed.cast.other_site).first()
    assert far is not None
    pour(placed, placed.slots[0], *OVER)
    pour(placed, far, *FINE)
    cast = placed.cast
    assert judged(placed, cast.owner) == (["Harbour"], ["Upland"], [])
    assert judged(placed, cast.other_lead) == ([], ["Upland"], [])
    page = words(signed_in(cast.owner), f"/tolerance/?recipe={placed.version.recipe_id}")
    assert "1 of 2 bars pours the recipe" in " ".join(page.split())


def test_one_shot_shows_nothing_yet(placed: Bar) -> None:
    pour(placed, placed.slots[0], "36.0")
    assert judged(placed, placed.cast.owner) == ([], [], ["Harbour"])


def test_the_endpoint_is_scoped(placed: Bar, api_as: ApiAs) -> None:
    (shot,) = pour(placed, placed.slots[0], "42.0")
    rows = api_as(placed.cast.shop_lead).get("/api/v1/tolerance/").json()["results"]
    assert [(row["shot"], row["verdicts"]["beverage_mass"]) for row in rows] == [(shot.pk, "high")]
    assert api_as(placed.cast.other_lead).get("/api/v1/tolerance/").json()["results"] == []
