"""Home: each role's work, in a number of queries that does not grow."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.persons.models import User
from recipes.overview.home import SHOWN, work_lists
from recipes.requests.decisions import ask_back
from recipes.versions.models import Version
from recipes.versions.review import return_to_author
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.cast import Cast, SignedIn, allow_sole_roaster
from tests.publishing import Publish, send
from tests.recipes.shelf import ask, make_approved, make_draft, make_in_review, make_recipe

__all__ = ["send"]
BUDGET = 19  # queries of the lists of somebody with every list, menus among them


@pytest.fixture(autouse=True)
def _only_ours(db: None) -> None:
    """Without what owners would be told of: tables that other tests made in this database, and
    entries of its migrations, which nobody sealed."""
    unguarded("TRUNCATE audit_entry")
    with connection.cursor() as cursor:
        cursor.execute("DROP TABLE IF EXISTS sample_jar, sample_note, sample_shelf CASCADE")


def titles(user: User) -> dict[str, int]:
    return {one.title: len(one.items) for one in work_lists(user) if one.items}


def test_what_waits_for_a_signature(cast: Cast, in_review: Version) -> None:
    assert titles(cast.second_roaster) == {"To sign": 1}
    assert titles(cast.head_roaster) == {}
    allow_sole_roaster(cast)
    assert titles(User.objects.get(pk=cast.head_roaster.pk)) == {"To sign": 1}
    for person in (cast.owner, cast.barista, cast.technician, cast.shop_lead):
        assert titles(person) == {}


def test_drafts_and_returned_ones(cast: Cast, draft: Version) -> None:
    assert titles(cast.head_roaster) == {"Your drafts": 1}
    waiting = make_in_review(cast, draft.recipe)
    return_to_author(
        by=cast.second_roaster, version=waiting, revision=waiting.revision, comments={"": "Hotter"}
    )
    assert titles(cast.head_roaster) == {"Returned to you": 1, "Your drafts": 1}
    assert titles(cast.second_roaster) == {}


def test_requests_for_either_side(cast: Cast, approved: Version) -> None:
    request = ask(cast, approved)
    assert titles(cast.head_roaster) == {"Requests to decide": 1}
    assert titles(cast.shop_lead) == {"Your requests": 1}
    assert titles(cast.other_lead) == {}
    ask_back(by=cast.head_roaster, request=request, revision=request.revision, reason="Which?")
    assert titles(cast.head_roaster) == {}
    [mine] = [one for one in work_lists(cast.shop_lead) if one.items]
    assert mine.items[0].mark == "asked_back"


def test_each_line_leads_to_where_it_is_done(
    cast: Cast, signed_in: SignedIn, in_review: Version
) -> None:
    browser = signed_in(cast.second_roaster)
    page = browser.get("/").content.decode()
    assert f'href="/versions/{in_review.pk}/approve/"' in page
    for one in work_lists(cast.second_roaster):
        for item in one.items:
            assert browser.get(item.url).status_code == 200


def test_slots_to_key_in_are_counted_by_bar(bar: Bar, send: Publish) -> None:
    send()
    [keys] = [one for one in work_lists(bar.cast.shop_lead) if one.title == "To key in"]
    assert keys.items == []  # nothing is due before the worker has run
    assert titles(bar.cast.head_roaster) == {"Publications on their way": 1, "Calibrations due": 4}


def test_it_asks_a_fixed_number_of_questions(cast: Cast, draft: Version) -> None:
    with CaptureQueriesContext(connection) as few:
        work_lists(cast.head_roaster)
    for turn in range(SHOWN + 2):
        recipe = make_recipe(cast, f"drink {turn}")
        approved = make_approved(cast, recipe)
        ask(cast, approved)
        make_draft(cast, recipe)
        make_in_review(cast, recipe)
    with CaptureQueriesContext(connection) as many:
        lists = work_lists(User.objects.get(pk=cast.head_roaster.pk))
    assert len(many) <= BUDGET
    assert len(many) <= len(few) + 2
    [requests] = [one for one in lists if one.title == "Requests to decide"]
    assert (len(requests.items), requests.more) == (SHOWN, True)


@pytest.mark.parametrize(
    ("who", "words"),
    [
        ("owner", "Nothing is placed yet: these steps lead to the first recipe in a slot."),
        ("barista", "Nothing waits for you."),
        ("technician", "Nothing waits for you."),
    ],
)
def test_home_opens_for_everybody(cast: Cast, signed_in: SignedIn, who: str, words: str) -> None:
    page = signed_in(getattr(cast, who)).get("/")
    assert page.status_code == 200
    assert words in page.content.decode()
    assert "Harbour" in page.content.decode()
