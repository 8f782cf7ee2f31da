"""On whose approval each change stands, on every view of it, at a constant number of queries."""

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from audit.reading.approvals import approvals_of
from audit.reading.rows import rows_of
from recipes.publishing.run import run
from stations.slots.models import Placement
from tests.bar import Bar, approved, draft
from tests.cast import Cast, SignedIn
from tests.publishing import Publish

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


def newest(**about: object) -> Entry:
    return Entry.objects.filter(**about).latest("id")


def told(entry: Entry) -> str:
    approval = approvals_of([entry])[entry.pk]
    signed = approval.signature
    return f"{signed.meaning}: {signed.name}" if signed else approval.words


def test_a_drafts_change_stands_on_none_until_it_is_approved(bar: Bar, cast: Cast) -> None:
    version = draft(cast, recipe=bar.version.recipe)
    entry = newest(table_name="recipes_formulavalue")
    assert told(entry) == "None: a draft"
    approved(cast, version)
    assert told(entry) == f"Approved: {cast.second_roaster.name}"


def test_a_placement_stands_on_its_publication(send: Publish, owner: Client) -> None:
    made = send()
    signature = made.signature
    assert signature
    entries = Entry.objects.filter(table_name="stations_placement")
    assert entries.count() > 1
    assert {told(entry) for entry in entries} == {f"Published: {signature.name}"}
    slot = Placement.objects.latest("id")
    page = owner.get(f"/history/of/slot/{slot.slot_id}/").content.decode()
    assert (
        f'<a href="/history/of/signature/{signature.pk}/">Published: {signature.name}</a>' in page
    )
    one = owner.get(f"/history/{entries.latest('id').pk}/").content.decode()
    assert signature.digest[:8] in one
    listed = owner.get("/api/v1/history/?about=slot&subject=" + str(slot.slot_id)).json()["results"]
    assert listed[0]["approval"]["signature"]["id"] == signature.pk


def test_what_needs_no_approval_says_so(bar: Bar) -> None:
    assert told(newest(table_name="stations_slot")) == "None asked for"


def test_a_page_costs_one_query_for_each_kind_of_thing_on_it(send: Publish) -> None:
    send()
    entries = list(Entry.objects.order_by("-id")[:200])
    with CaptureQueriesContext(connection) as asked:
        rows_of(entries)
    tables = [re.search(r'FROM "(\w+)"', each["sql"]) for each in asked.captured_queries]
    names = [found[1] for found in tables if found]
    most_of_one = max(names.count(name) for name in names)
    assert most_of_one <= 3, names  # what it is called, its approval, its site
    assert len(names) <= 30, names


def test_keys_are_shown_as_what_they_are(send: Publish, owner: Client) -> None:
    made = send()
    page = owner.get("/history/").content.decode()
    cells = re.findall(r'<td data-label="Change">(.*?)</td>', page)
    assert cells
    assert not [cell for cell in cells if re.search(r"[^&]#\d", cell)]
    placed = newest(table_name="stations_placement", operation="created")
    page = owner.get(f"/history/{placed.pk}/").content.decode()
    assert f'<a href="/publications/{made.pk}/">Publication {made.pk}</a>' in page
    assert re.search(r'<a href="/slots/\d+/">[^<]+ · slot \d</a>', page)


def test_one_clock_a_column_said_in_its_head(bar: Bar, owner: Client) -> None:
    page = owner.get("/history/").content.decode()
    assert '<th scope="col">Time, UTC</th>' in page
    site = bar.cast.site
    page = owner.get(f"/history/?site={site.pk}").content.decode()
    assert f'<th scope="col">Time, {site.time_zone}</th>' in page
    times = re.findall(r'data-label="Time"><a [^>]*><time [^>]*>([^<]*)</time>', page)
    assert times
    assert all(re.fullmatch(r"\d+ \w+ \d{4}, \d\d:\d\d:\d\d", each) for each in times)


def _chart(owner: Client, address: str) -> str:
    page = owner.get(address).content.decode()
    found = re.search(r"<figure.*?</figure>", page, re.DOTALL)
    if found is None:
        return ""
    later = re.search(r'hx-get="(/drawings/[^"]+)"', found[0])
    return owner.get(later[1]).content.decode() if later else found[0]


def test_a_chart_tells_drafts_from_what_was_approved(bar: Bar, cast: Cast, owner: Client) -> None:
    recipe = bar.version.recipe
    address = f"/history/of/recipe/{recipe.pk}/?parameter=brew_temperature"
    draft(cast, recipe=recipe)
    chart = _chart(owner, address)
    assert ">Approved</text>" in chart
    assert ">Draft</text>" in chart
    assert re.search(r"Target: 1 values? approved from .*; 2 by drafts\.", chart), chart[:400]


def test_a_slots_chart_is_what_was_in_force(send: Publish, owner: Client) -> None:
    run(send().pk)
    slot = Placement.objects.in_force().latest("id").slot_id
    chart = _chart(owner, f"/history/of/slot/{slot}/?parameter=brew_temperature")
    assert "Brew temperature, in force: 1 value" in chart
