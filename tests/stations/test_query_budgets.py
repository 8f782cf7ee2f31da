"""Lists ask the same number of questions however long they are."""

from collections.abc import Callable
from datetime import time
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from stations.equipment.actions import add_station
from stations.importing.actions import import_equipment
from stations.importing.file import NAMES
from stations.opening.actions import set_opening
from tests.cast import ApiAs, Cast, SignedIn
from tests.stations.conftest import Bar, place

# Session, person and roles (for the page, and for its rows) take 4, and 3 whether settings are as
# signed (what was seen, the plan it is of, the titles or the history); the rest is the page's own.
PAGES: dict[str, tuple[Callable[[Bar], str], int]] = {
    "board": (lambda bar: reverse("stations:board"), 10),
    "sites": (lambda bar: reverse("stations:sites"), 5),
    "site": (lambda bar: reverse("stations:site", args=[bar.machine.site_id]), 17),
    "to_key": (lambda bar: reverse("stations:to_key", args=[bar.machine.site_id]), 10),
    "at": (lambda bar: reverse("stations:at", args=[bar.first.code]), 18),
    "gateways": (lambda bar: reverse("stations:gateways", args=[bar.machine.site_id]), 9),
    "week": (lambda bar: reverse("stations:week", args=[bar.machine.site_id]), 20),
    "findings": (lambda bar: reverse("stations:findings", args=[bar.machine.site_id]), 9),
    "station": (lambda bar: reverse("stations:station", args=[bar.first.pk]), 16),
    "slot": (lambda bar: reverse("stations:slot", args=[bar.slot.pk]), 16),
    "machine": (lambda bar: reverse("stations:machine", args=[bar.machine.pk]), 6),
}


def queries(get: Callable[[str], object], address: str) -> int:
    get(address)  # what is read once for all, such as the session's first use
    with CaptureQueriesContext(connection) as asked:
        answer = get(address)
    assert getattr(answer, "status_code", 0) == 200
    return len(asked)


def grow(bar: Bar, cast: Cast) -> None:
    """More sites, more stations at the same machine, and something in every slot."""
    lines = [",".join(NAMES).removesuffix(",reason")]
    lines += [f"s-{n},S {n},Europe/Lisbon,{n},M,Two boilers,1,2,," for n in range(20)]
    import_equipment(text="\n".join(lines), by=cast.head_roaster)
    for number in range(3, 9):
        station = add_station(
            machine=bar.machine, number=number, slots=2, pulses_per_millilitre=Decimal(4),
            by=cast.head_roaster,
        )  # fmt: skip
        place(station.slots.get(number=1), cast.head_roaster)


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_no_more_as_it_grows(
    page: str, bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    address, budget = PAGES[page]
    set_opening(
        by=cast.owner, site=cast.site, revision=0, shots=1, counts_from=time(4), opens_at=time(7)
    )
    place(bar.slot, cast.head_roaster)
    browser = signed_in(cast.head_roaster)
    small = queries(browser.get, address(bar))
    grow(bar, cast)
    place(bar.slot, cast.head_roaster)
    large = queries(browser.get, address(bar))
    assert small == large
    assert large <= budget


@pytest.mark.parametrize(
    ("address", "budget"),
    [
        ("sites", 5),
        ("machines", 5),
        ("stations", 5),
        ("machine-types", 6),
        ("slots", 8),
        ("board", 10),
    ],
)
def test_an_endpoint_asks_no_more_as_it_grows(
    address: str, budget: int, bar: Bar, cast: Cast, api_as: ApiAs
) -> None:
    place(bar.slot, cast.head_roaster)
    api = api_as(cast.head_roaster)
    small = queries(api.get, f"/api/v1/{address}/")
    grow(bar, cast)
    large = queries(api.get, f"/api/v1/{address}/")
    assert small == large
    assert large <= budget
