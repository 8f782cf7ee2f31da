"""The owner's pages of the history."""

import html
import re
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from audit.capture.context import Channel, RequestContext, recorded, request_context
from audit.capture.models import Entry
from audit.errors import Refused, Subject
from audit.registry import Registry
from tests.audit.conftest import FILLED, SORTED
from tests.audit.sample import Jar, Shelf
from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db
HISTORY = reverse("audit:history")


@pytest.fixture
def owner(desk: Registry, cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


@pytest.fixture
def jar(shelf: Shelf, cast: Cast) -> Jar:
    """A jar at the harbour, filled and refilled by the head roaster."""
    token = request_context.set(RequestContext(Channel.PAGE, "request-1", "192.0.2.7"))
    with recorded(by=cast.head_roaster, action=FILLED, reason="<b>more</b>", signature_id=4):
        Shelf.objects.update(site_id=cast.site.pk)
        jar = Jar.objects.create(shelf=shelf, name="salt", mass=Decimal("1.5"))
        Jar.objects.update(mass=Decimal("2.25"), full=True)
    request_context.reset(token)
    return jar


def text_of(client: Client, address: str, status: int = 200) -> str:
    response = client.get(address)
    assert response.status_code == status, response.content
    markup = response.content.decode()
    assert "<b>more" not in markup
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", "", markup)))


def test_the_list_says_who_what_where_and_how(owner: Client, jar: Jar, cast: Cast) -> None:
    page = text_of(owner, HISTORY)
    for words in ("Head roaster", "by page", "Filled jar", "Shelf:", "Top, salt", "at Harbour"):
        assert words in page
    assert re.search(r"Mass, Full: no → yes; Mass: 1\.500 g → 2\.250 g", page), page[1500:4000]
    assert "Time, UTC" in page  # one clock, said once
    page = text_of(owner, f"{HISTORY}?site={cast.site.pk}")
    assert "Time, Europe/Lisbon" in page


def test_each_filter_narrows_the_list(owner: Client, jar: Jar, cast: Cast) -> None:
    shown = {
        f"?person={cast.head_roaster.pk}&action={FILLED}": True,
        f"?site={cast.site.pk}": True,
        "?parameter=mass": True,
        f"?about=shelf&subject={jar.shelf.pk}": True,
        "?since=2026-01-01&until=2027-12-31": True,
        f"?site={cast.other_site.pk}": False,
        f"?person={cast.barista.pk}": False,
        f"?action={SORTED}": False,
        "?parameter=brew_temperature": False,
        "?until=2026-01-01": False,
    }
    for query, there in shown.items():
        assert ("Top, salt" in text_of(owner, HISTORY + query)) == there, query


def test_a_subject_is_found_by_its_name(owner: Client, cast: Cast) -> None:
    assert "Site: Harbour" in text_of(owner, HISTORY + "?subject=harb")
    both = text_of(owner, HISTORY + "?subject=a", status=400)
    assert "Several things have that name" in both
    assert "Site: Upland" in both
    assert "Nothing has that name: “zzz”" in text_of(owner, HISTORY + "?subject=zzz", status=400)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("?site=abc", "“abc” can't be used. Choose a site from the list."),
        ("?site=999999999999999999999999", "Choose a site from the list."),
        ("?person=-1", "Choose a person from the list."),
        ("?action=drop table", "Choose an action from the list."),
        ("?parameter=x", "Choose a parameter from the list."),
        ("?since=31.12.2026", "Give a date as year-month-day"),
        ("?since=0001-01-01", "give a year from 2000"),
        ("?until=9999-12-31", "give a year from 2000"),
        ("?since=2026-02-02&until=2026-02-01", "give that day or a later one."),
        ("?subject=%00", "Null characters are not allowed."),
        ("?before=abc", "before: “abc” can't be used."),
        ("?before=99999999999999999999", "Allowed: the number of an entry."),
        ("?before=1&after=2", "before or after, not both"),
    ],
)
def test_a_filter_that_makes_no_sense(owner: Client, query: str, words: str) -> None:
    page = text_of(owner, HISTORY + query, status=400)
    assert words in page


def test_one_entry_shows_everything_that_is_known(owner: Client, jar: Jar) -> None:
    entry = Entry.objects.latest("pk")
    page = text_of(owner, reverse("audit:entry", args=[entry.pk]))
    for words in ("Filled jar", "request-1", "192.0.2.7", "<b>more</b>", "1.500 g", "2.250 g"):
        assert words in page
    for words in ("Head roaster, head roaster", "Approved", "ab" * 32, f"sample_jar {jar.pk}"):
        assert words in page
    text_of(owner, reverse("audit:entry", args=[entry.pk + 1000]), status=404)
    text_of(owner, "/history/99999999999999999999999/", status=404)


def test_a_refusal_shows_what_was_attempted(owner: Client, cast: Cast) -> None:
    tried = {"dose_mass": ("18.0", "19.0")}
    with pytest.raises(Refused), recorded(by=cast.shop_lead, action=SORTED, site_id=cast.site.pk):
        raise Refused("Locked.", attempted=tried, subject=Subject("slot", 5, "Slot 5"))
    page = text_of(owner, reverse("audit:entry", args=[Entry.objects.latest("pk").pk]))
    for words in ("Refused", "Answer: Locked.", "What was attempted", "18.0", "19.0", "Slot 5"):
        assert words in page
    assert "Locked." in text_of(owner, HISTORY)
