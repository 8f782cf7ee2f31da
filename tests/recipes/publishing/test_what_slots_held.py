"""What slots at a site were set to, and found at, by parameter: in the history and its pages."""

import re

import pytest
from django.test import Client

from audit.reading.queries import HistoryFilter, page_of
from recipes.publishing.run import run
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish

pytestmark = pytest.mark.django_db
CODE = "brew_temperature"


@pytest.fixture
def held(bar: Bar, send: Publish) -> Placement:
    """In force and read back, all as it should be."""
    run(send().pk)
    placement = Placement.objects.in_force().filter(site=bar.cast.site).latest("id")
    found = {code: each["value"] for code, each in placement.settings.values.items()}
    read_back(
        by=bar.cast.head_roaster, slot=placement.slot, seen_placement=placement.pk, found=found
    )
    return placement


@pytest.fixture
def owner(bar: Bar, signed_in: SignedIn) -> Client:
    return signed_in(bar.cast.owner)


def tables(wanted: HistoryFilter) -> set[str]:
    return {entry.table_name for entry in page_of(wanted, None, size=400).entries}


CARRIERS = {"stations_placement", "stations_readback"}


def test_a_site_with_a_parameter_finds_placements_and_read_backs(held: Placement) -> None:
    found = tables(HistoryFilter(site=held.site_id, parameter=CODE))
    assert found >= {*CARRIERS, "stations_controlsettings"}
    assert not CARRIERS & tables(HistoryFilter(site=held.site_id, parameter="basket"))
    assert not CARRIERS & tables(
        HistoryFilter(parameter=CODE)
    )  # everywhere: what is about it alone


def _said(page: str) -> list[str]:
    cells = re.findall(r'<td data-label="Change">(.*?)</td>', page)
    return [re.sub(r"&nbsp;", " ", re.sub(r"<[^>]+>", "", cell)) for cell in cells]


@pytest.mark.parametrize(
    "address",
    [
        "/history/?site={site}&parameter={code}",
        "/history/of/site/{site}/?parameter={code}",
        "/history/of/slot/{slot}/?parameter={code}",
    ],
)
def test_each_line_begins_with_what_it_says_of_it(
    held: Placement, owner: Client, address: str
) -> None:
    url = address.format(site=held.site_id, slot=held.slot_id, code=CODE)
    said = _said(owner.get(url).content.decode())
    setting = held.settings.values[CODE]["value"]
    assert any(re.match(rf"(Created\. )?Brew temperature: {setting} °C", line) for line in said), (
        said
    )
    assert any(re.match(rf"Created\. Found: brew temperature: {setting}", line) for line in said), (
        said
    )


def test_nobody_is_told_of_sites_they_do_not_read(held: Placement, bar: Bar) -> None:
    wanted = HistoryFilter(site=held.site_id, parameter=CODE)
    assert page_of(wanted, frozenset({bar.cast.other_site.pk})).entries == []
