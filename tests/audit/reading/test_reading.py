"""Who may read the history, over pages and API, and how little a page asks of the database."""

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from audit.capture.models import Entry
from audit.capture.partitions import bounds
from audit.registry import Registry
from people.persons.models import User
from tests.audit import past
from tests.audit.sample import Shelf
from tests.cast import ApiAs, Cast, SignedIn

pytestmark = pytest.mark.django_db
API = "/api/v1/history/"


def addresses() -> list[str]:
    pk = Entry.objects.latest("pk").pk
    pages = [reverse("audit:history"), reverse("audit:entry", args=[pk])]
    subject = Entry.objects.latest("pk")
    pages += [reverse("audit:timeline", args=[subject.subject_type, subject.subject_id])]
    of = f"{API}of/{subject.subject_type}/{subject.subject_id}/"
    return [*pages, API, f"{API}{pk}/", of]


def test_only_an_owner_reads_it(desk: Registry, cast: Cast, signed_in: SignedIn) -> None:
    """Roasters may look for a thing's history, and find none of what is no recipe and no slot."""
    every = addresses()
    things = set(every) - {"/history/", API}
    for name, person in cast.everyone().items():
        client = signed_in(person)
        for address in every:
            nothing = 404 if address in things and "roaster" in name else 403
            expected = 200 if name == "owner" else nothing
            assert client.get(address).status_code == expected, (name, address)


def test_who_tries_is_written_down(desk: Registry, cast: Cast, signed_in: SignedIn) -> None:
    client = signed_in(cast.barista)
    for address in ("/history/", API, "/history/intact/", "/api/v1/history/bundle/"):
        assert client.get(address).status_code == 403
    tried = Entry.objects.filter(operation="refused", action="history.refused").order_by("id")
    assert [(e.actor, e.role, e.channel) for e in tried] == [
        ("Barista", "barista", channel) for channel in ("page", "api", "page", "api")
    ]


def test_nobody_reads_it_without_signing_in(cast: Cast, client: Client) -> None:
    for address in addresses():
        assert client.get(address).status_code == (401 if address.startswith(API) else 302)


def test_reading_changes_nothing_and_writing_is_no_method(
    desk: Registry, cast: Cast, signed_in: SignedIn
) -> None:
    client = signed_in(cast.owner)
    for address in addresses():
        assert client.post(address).status_code in (403, 405)
        assert client.delete(address).status_code in (403, 405)


def test_a_viewer_of_some_sites_sees_those_and_what_is_of_none(
    desk: Registry, cast: Cast, signed_in: SignedIn, shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No role reads the history of single sites today; the pages keep to it all the same."""
    monkeypatch.setattr(User, "history_sites", lambda self: frozenset({cast.site.pk}))
    Shelf.objects.create(name="Mine", site_id=cast.site.pk)
    Shelf.objects.create(name="Theirs", site_id=cast.other_site.pk)
    Shelf.objects.create(name="Nobody's", site_id=None)
    client = signed_in(cast.owner)
    page = client.get(reverse("audit:history")).content.decode()
    seen = [name for name in ("Mine", "Theirs", "Nobody&#x27;s") if name in page]
    assert seen == ["Mine", "Nobody&#x27;s"]
    names = {"HX-Request": "true", "HX-Target": "site_names"}
    suggested = client.get("/history/", headers=names).content.decode()
    assert suggested == '<option value="Harbour"></option>\n'
    assert client.get("/history/?site=Upland").status_code == 400
    for entry in Entry.objects.filter(subject="Theirs"):
        assert client.get(reverse("audit:entry", args=[entry.pk])).status_code == 404
        assert client.get(f"{API}{entry.pk}/").status_code == 404
        timeline = reverse("audit:timeline", args=["shelf", entry.subject_id])
        assert client.get(timeline).status_code == 404
    assert client.get(f"/history/?site={cast.other_site.pk}").status_code == 400


def test_a_page_asks_the_same_few_questions_however_long_it_is(
    desk: Registry,
    cast: Cast,
    signed_in: SignedIn,
    django_assert_max_num_queries: DjangoAssertNumQueries,
) -> None:
    past.write(200)
    client = signed_in(cast.owner)
    bounds()  # asked for once in ten minutes, not once a page
    # Session, person, roles (asked twice: pages and navigation), sites, what is not sealed, what
    # is archived, the page itself.
    with django_assert_max_num_queries(9):
        page = client.get(reverse("audit:history")).content.decode()
    assert page.count('data-label="Time"') == 50
    with django_assert_max_num_queries(11):
        client.get(reverse("audit:history") + "?since=2016-01-01&until=2016-12-31")


def test_the_api_gives_pages_by_key(desk: Registry, cast: Cast, api_as: ApiAs) -> None:
    past.write(30)
    client, found, address = api_as(cast.owner), [], f"{API}?limit=7"
    every = list(Entry.objects.order_by("-pk").values_list("pk", flat=True))
    while address:
        body = client.get(address).json()
        found += [entry["id"] for entry in body["results"]]
        address = body["next"]
    assert found == every
    written = client.get(f"{API}?limit=1&action=site.changed").json()["results"][0]
    assert written["changes"]["target"][0] == "92.0"
    whole = client.get(f"{API}{written['id']}/").json()
    assert whole["action_words"]
    assert whole["signature"] is None


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ("limit=0", "limit"),
        ("limit=501", "limit"),
        ("limit=ten", "limit"),
        ("limit=0000000019999", "limit"),
        (f"limit=000000001{'9' * 30}", "limit"),
        ("before=-1", "before"),
        ("site=1.5", "site"),
        ("since=yesterday", "since"),
        ("subject=%00", "subject"),
    ],
)
def test_bad_questions_are_answered_with_a_sentence(
    desk: Registry, cast: Cast, api_as: ApiAs, query: str, field: str
) -> None:
    response = api_as(cast.owner).get(f"{API}?{query}")
    assert response.status_code == 400
    assert response["Content-Type"] == "application/problem+json"
    assert response.json()["problems"][0]["field"] == field
