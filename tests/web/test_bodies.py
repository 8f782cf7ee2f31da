"""How much may be sent, and that nothing private is kept on the way."""

import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.files.uploadhandler import TemporaryFileUploadHandler
from django.test import Client

from config.settings.security import LARGEST_BODY
from tests.cast import ApiAs, Cast, InPerson, SignedIn
from tests.web.test_problems import problem

LOGIN = "/account/login/"


def test_a_body_beyond_the_limit_is_not_read_by_an_endpoint(
    cast: Cast, api_in_person: InPerson
) -> None:
    client, key = api_in_person(cast.barista), {"Idempotency-Key": uuid.uuid4().hex}
    body = b'{"name": "' + b"x" * LARGEST_BODY + b'"}'
    answer = client.post("/api/v1/tokens/", body, content_type="application/json", headers=key)
    assert problem(answer, 413)["title"] == "Too large"


def test_nor_is_a_file_of_nobody_stored(db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    stored: list[int] = []
    monkeypatch.setattr(
        TemporaryFileUploadHandler, "receive_data_chunk", lambda _, __, at: stored.append(at)
    )
    client = Client(enforce_csrf_checks=True)
    client.get(LOGIN)  # for the cookie: with it, a form is read to find its token
    large = SimpleUploadedFile("large", b"x" * LARGEST_BODY)
    answer = client.post(LOGIN, {"file": large})
    assert (answer.status_code, stored) == (413, [])
    assert "Nothing was changed" in answer.content.decode()


@pytest.mark.parametrize("length", ["", "many", "-1"])
def test_an_odd_length_is_no_body(db: None, client: Client, length: str) -> None:
    assert client.post("/nothing/", CONTENT_LENGTH=length).status_code == 404


def test_what_fits_is_read(cast: Cast, api_in_person: InPerson) -> None:
    client, key = api_in_person(cast.barista), {"Idempotency-Key": uuid.uuid4().hex}
    body = b'{"name": "' + b"x" * (LARGEST_BODY - 12) + b'"}'
    answer = client.post("/api/v1/tokens/", body, content_type="application/json", headers=key)
    problem(answer, 400)


def test_pages_and_answers_leave_no_copy_behind(
    cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    browser, program = signed_in(cast.owner), api_as(cast.owner)
    assert browser.get("/people/")["Cache-Control"] == "no-store"
    assert browser.get(f"/people/{cast.barista.pk}/")["Cache-Control"] == "no-store"
    assert program.get("/api/v1/people/")["Cache-Control"] == "no-store"
    assert program.get("/api/v1/policy/")["Cache-Control"] == "private, no-cache"
    assert "no-store" in Client().get(LOGIN)["Cache-Control"]
