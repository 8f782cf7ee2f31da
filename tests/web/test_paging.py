"""Lists by key: complete, in order, and strict about what they are asked."""

import pytest
from django.contrib.auth.hashers import make_password
from rest_framework.test import APIClient

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from people.persons.models import User
from tests.cast import ApiAs, Cast

PEOPLE = "/api/v1/people/"


@pytest.fixture
def client(cast: Cast, api_as: ApiAs) -> APIClient:
    """The owner's program; 7 people of the cast and 20 more."""
    with recorded(by=None, action=PERSON_ADDED):
        User.objects.bulk_create(
            User(email=f"p{n}@example.com", name=f"P{n}", password=make_password(None))
            for n in range(20)
        )
    return api_as(cast.owner)


def test_following_next_reads_everything_once_newest_first(client: APIClient) -> None:
    seen, url = [], f"{PEOPLE}?limit=10"
    while url:
        page = client.get(url).json()
        assert len(page["results"]) <= 10
        seen += [row["id"] for row in page["results"]]
        url = page["next"]
    assert seen == sorted(User.objects.values_list("pk", flat=True), reverse=True)


def test_rows_added_meanwhile_shift_nothing(client: APIClient, cast: Cast) -> None:
    first = client.get(f"{PEOPLE}?limit=10").json()
    User.objects.create(email="late@example.com", name="Late")
    second = client.get(first["next"]).json()
    ids = [row["id"] for row in first["results"] + second["results"]]
    assert len(set(ids)) == 20
    assert client.get(second["previous"]).json()["results"] == first["results"]


@pytest.mark.parametrize(
    "query",
    [
        "limit=0",
        "limit=501",
        "limit=-1",
        "limit=ten",
        "limit=1e2",
        "limit=٣",
        f"limit={'9' * 400}",
        "cursor=nonsense",
        "cursor=cD1hYmM=",  # p=abc
        "cursor=cD05OTk5OTk5OTk5OTk5OTk5OTk5OTk5OTk=",  # p=99999999999999999999999999
    ],
)
def test_what_we_never_gave_out_is_refused(client: APIClient, query: str) -> None:
    answer = client.get(f"{PEOPLE}?{query}")
    assert answer.status_code == 400
    [named] = answer.json()["problems"]
    assert named["field"] == query.partition("=")[0]
    assert named["allowed"]
