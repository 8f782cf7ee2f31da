"""Lots on the bar: opened with open eyes, one at a time, for good."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import Error, connection, transaction
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.coffees.actions import add_coffee, add_lot
from stations.equipment.models import Station
from stations.grinders.actions import add_grinder
from stations.grinders.models import Grinder
from stations.lots.actions import close_lot, open_at, open_lot
from stations.lots.models import LotOpening
from tests.cast import ApiAs, Cast, SignedIn
from tests.grinders import grinder_of
from tests.stations.conftest import Bar
from tests.stations.test_query_budgets import queries


@pytest.fixture
def grinder(bar: Bar, cast: Cast) -> Grinder:
    """With four lots on the shelf: A1 of two coffees ready, B3 resting, C60 past."""
    blend, decaf = (
        add_coffee(by=cast.head_roaster, name=name, rest_from=7, rest_to=28)
        for name in ("Morning blend", "Decaf")
    )
    today = timezone.now().date()
    for coffee, code, age in ((blend, "A1", 10), (decaf, "A1", 12), (blend, "B3", 3),
                              (blend, "C60", 60), (blend, "D9", 9)):  # fmt: skip
        roasted = today - timedelta(days=age)
        add_lot(by=cast.head_roaster, coffee=coffee, code=code, roasted_on=roasted)
    return grinder_of(bar.first, cast.owner)


def opened(cast: Cast, at: Grinder, code: str, **more: Any) -> LotOpening:  # noqa: ANN401
    current = open_at(at)
    seen = current.pk if current else None
    return open_lot(by=cast.barista, at=at, seen_opening=seen, code=code, **more)


def test_opening_a_bag_finishes_the_one_before(grinder: Grinder, cast: Cast) -> None:
    first = opened(cast, grinder, "D9")
    second = opened(cast, grinder, "a1", coffee="Decaf")
    first.refresh_from_db()
    assert (first.closed_by, second.closed_at) == (cast.barista, None)
    assert (second.coffee, second.code) == ("Decaf", "A1")
    assert (second.aged(second.opened_at).days, second.state) == (12, "ready")
    entry = Entry.objects.filter(table_name="stations_lotopening", operation="created").latest("id")
    assert (entry.action, entry.actor) == ("lot.opened", cast.barista.name)


def test_two_coffees_with_one_code_are_told_apart(grinder: Grinder, cast: Cast) -> None:
    with pytest.raises(Invalid, match="Morning blend") as raised:
        opened(cast, grinder, "A1")
    assert raised.value.field == "coffee"
    with pytest.raises(Invalid, match="roaster entered"):
        opened(cast, grinder, "Z9")


@pytest.mark.parametrize(("code", "state"), [("B3", "resting"), ("C60", "past")])
def test_a_lot_outside_its_window_is_asked_about(
    grinder: Grinder, cast: Cast, code: str, state: str
) -> None:
    with pytest.raises(Invalid) as raised:
        opened(cast, grinder, code)
    assert [each.field for each in raised.value.problems] == ["confirmed", "reason"]
    assert f"still {state}" in raised.value.message or f"{state} its" in raised.value.message
    with pytest.raises(Invalid):
        opened(cast, grinder, code, confirmed=True)
    made = opened(cast, grinder, code, confirmed=True, reason="Nothing else is there")
    assert (made.state, made.reason) == (state, "Nothing else is there")


def test_who_opens_has_seen_what_is_open(grinder: Grinder, cast: Cast) -> None:
    opened(cast, grinder, "D9")
    with pytest.raises(Stale, match="D9"):
        open_lot(by=cast.barista, at=grinder, seen_opening=None, code="A1", coffee="Decaf")
    with pytest.raises(Invalid, match="another lot"):
        opened(cast, grinder, "D9")
    with pytest.raises(NotPermitted):
        open_lot(by=cast.other_lead, at=grinder, seen_opening=None, code="D9")


def test_a_bag_is_finished_once(grinder: Grinder, cast: Cast) -> None:
    bag = opened(cast, grinder, "D9")
    assert close_lot(by=cast.barista, opening=bag, seen_open=True).closed_at
    assert open_at(grinder) is None
    with pytest.raises(Refused):
        close_lot(by=cast.barista, opening=bag, seen_open=True)


def test_the_page_asks_and_keeps_what_was_typed(
    grinder: Grinder, cast: Cast, signed_in: SignedIn
) -> None:
    browser, address = signed_in(cast.barista), reverse("stations:lot_open", args=[grinder.pk])
    asked = browser.post(address, {"code": "B3"})
    page = asked.content.decode()
    assert asked.status_code == 400
    assert 'value="B3"' in page
    assert "still resting" in page
    done = browser.post(address, {"code": "B3", "confirmed": "on", "reason": "Ran out"})
    assert done.status_code == 302
    assert "Ran out" in browser.get(done.url).content.decode()  # type: ignore[attr-defined]


def _again(bag: LotOpening, **changed: object) -> None:
    values = {f.attname: getattr(bag, f.attname) for f in bag._meta.concrete_fields}
    kept = {name: value for name, value in values.items() if name not in {"id", "opened_at"}}
    for name in changed:
        kept.pop(f"{name}_id", None)
    LotOpening.objects.create(**{**kept, **changed})
    with connection.cursor() as cursor:  # what is checked at the end only
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def _station(bag: LotOpening) -> object:
    assert bag.grinder
    return bag.grinder.serves.get().station


def _away(bag: LotOpening) -> object:
    return Station.objects.exclude(machine__site=bag.site)[0].pk


ATTACKS: dict[str, Callable[[LotOpening], object]] = {
    "another code": lambda bag: LotOpening.objects.update(code="E5"),
    "opened anew": lambda bag: LotOpening.objects.filter(pk=bag.pk).update(closed_at=None),
    "removed": lambda bag: LotOpening.objects.all().delete(),
    "finished before": lambda bag: LotOpening.objects.update(
        closed_at=bag.opened_at - timedelta(days=1), closed_by=bag.opened_by
    ),
    "a second one": _again,
    "of no lot": lambda bag: _again(bag, grinder=None, station=_station(bag), lot_id=0),
    "elsewhere": lambda bag: _again(bag, grinder=None, station_id=_away(bag)),
    "without a reason": lambda bag: _again(
        bag, grinder=None, station=_station(bag), state="past", reason=""
    ),
    "nowhere": lambda bag: _again(bag, grinder=None),
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_the_database_keeps_it_too(attack: str, grinder: Grinder, cast: Cast) -> None:
    bag = opened(cast, grinder, "D9")
    with pytest.raises(Error), transaction.atomic():
        ATTACKS[attack](bag)


@pytest.mark.parametrize("name", ["stations:lots", "stations:grinders"])
def test_a_list_asks_no_more_as_it_grows(
    name: str, grinder: Grinder, bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    browser, address = signed_in(cast.barista), reverse(name, args=[cast.site.pk])
    opened(cast, grinder, "D9")
    small = queries(browser.get, address)
    for number in range(5):
        more = add_grinder(
            by=cast.owner, site=cast.site, name=f"Grinder {number}", finer="lower",
            stations=[bar.first, bar.second], setting=Decimal(3),
        )  # fmt: skip
        opened(cast, more, "D9")
        opened(cast, more, "A1", coffee="Decaf")
    large = queries(browser.get, address)
    assert (small == large, large <= 11) == (True, True), (small, large)


def test_a_label_tells_the_coffee_too(grinder: Grinder, cast: Cast) -> None:
    made = opened(cast, grinder, " morning blend a1 ")
    assert (made.coffee, made.code) == ("Morning blend", "A1")
    with pytest.raises(Invalid, match="roaster entered"):
        opened(cast, grinder, "Morning blend Z9")
    with pytest.raises(Invalid, match="at most 121"):
        opened(cast, grinder, "A" * 122)


@pytest.mark.parametrize("code", ["B3", "C60"])
def test_everywhere_a_bag_outside_its_window_is_asked_about(
    code: str, bar: Bar, grinder: Grinder, cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    """At a grinder and at a station, on pages and by programs."""
    browser, program = signed_in(cast.barista), api_as(cast.barista)
    ways = [
        ("grinder", grinder.pk, reverse("stations:lot_open", args=[grinder.pk])),
        ("station", bar.second.pk, reverse("stations:lot_open_at_station", args=[bar.second.pk])),
    ]
    path = reverse("stations_api:lots", args=[cast.site.code])
    for name, pk, address in ways:
        asked = browser.post(address, {"code": code})
        assert (asked.status_code, asked.context["form"].asks) == (400, True)
        body = {name: pk, "code": code, "seen_opening": None}
        told = program.post(path, body, format="json", headers={"Idempotency-Key": uuid4().hex})
        assert told.status_code == 400
        assert {each["field"] for each in told.json()["problems"]} == {"confirmed", "reason"}
    assert not LotOpening.objects.exists()
