"""Edits say which revision they were made from. Sources: RFC 9110 13.1, RFC 6585 section 3."""

import pytest
from rest_framework.test import APIClient

from people.persons.actions import change_person
from people.persons.models import User
from tests.cast import Cast, InPerson


@pytest.fixture
def client(cast: Cast, api_in_person: InPerson) -> APIClient:
    """The owner, by the session of a browser."""
    return api_in_person(cast.owner)


@pytest.fixture
def url(cast: Cast) -> str:
    """The barista."""
    return f"/api/v1/people/{cast.barista.pk}/"


EDIT = {"name": "Renamed", "email": "barista@example.com"}


def test_reading_gives_a_strong_tag_and_editing_a_new_one(client: APIClient, url: str) -> None:
    tag = client.get(url)["ETag"]
    assert tag.startswith('"')
    answer = client.put(url, EDIT, headers={"If-Match": tag})
    assert answer.status_code == 200
    assert answer["ETag"] == client.get(url)["ETag"] != tag


@pytest.mark.parametrize("headers", [{}, {"If-Match": ""}, {"If-Match": "*"}])
def test_an_edit_without_a_tag_is_428(client: APIClient, url: str, headers: dict[str, str]) -> None:
    answer = client.put(url, EDIT, headers=headers)
    assert answer.status_code == 428
    assert answer.json()["title"] == "If-Match needed"
    assert User.objects.get(email=EDIT["email"]).name == "Barista"


def test_an_edit_of_an_older_revision_is_412(cast: Cast, client: APIClient, url: str) -> None:
    tag = client.get(url)["ETag"]
    barista = cast.barista
    change_person(by=cast.owner, person=barista, email=barista.email, name="Quicker", revision=1)
    answer = client.put(url, EDIT, headers={"If-Match": tag})
    assert answer.status_code == 412
    assert answer.json()["current_revision"] == 2
    assert User.objects.get(email=EDIT["email"]).name == "Quicker"


@pytest.mark.parametrize("tag", ["W/{}", '"person-1-1"', '"nonsense"', "nonsense", '"' * 9])
def test_weak_and_foreign_tags_do_not_match(client: APIClient, url: str, tag: str) -> None:
    answer = client.put(url, EDIT, headers={"If-Match": tag.format(client.get(url)["ETag"])})
    assert answer.status_code in (412, 428)
    assert User.objects.get(email=EDIT["email"]).name == "Barista"


def test_one_of_several_tags_is_enough(client: APIClient, url: str) -> None:
    several = f'"other-1-1", {client.get(url)["ETag"]}'
    assert client.put(url, EDIT, headers={"If-Match": several}).status_code == 200


def test_a_copy_that_is_still_right_is_not_sent_again(client: APIClient, url: str) -> None:
    tag = client.get(url)["ETag"]
    for held in (tag, f"W/{tag}", "*"):
        answer = client.get(url, headers={"If-None-Match": held})
        assert (answer.status_code, answer.content) == (304, b"")
    assert client.get(url, headers={"If-None-Match": '"older"'}).status_code == 200
