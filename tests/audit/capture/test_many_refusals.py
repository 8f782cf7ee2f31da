"""Refusals by the hundred are few entries: each tells how often it was tried."""

import re
from uuid import uuid4

import pytest
from pytest_django.fixtures import Settings

from audit.capture.context import record_refusal
from audit.capture.models import Entry
from audit.errors import Refused, Subject
from people.persons.models import User
from tests.cast import Cast, SignedIn
from web.access import PAGE_REFUSED

REFUSED = Entry.objects.filter(operation="refused").order_by("id")


@pytest.fixture(autouse=True)
def _own_counts(settings: Settings) -> None:
    """Counted for this test alone, whatever others do in the same minute."""
    own = {**settings.CACHES["quick"], "KEY_PREFIX": f"test-{uuid4().hex}"}
    settings.CACHES = {**settings.CACHES, "quick": own}


def test_the_same_again_and_again_by_one_barista(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.barista)
    assert {browser.get("/people/").status_code for _ in range(114)} == {403}
    tries = [re.findall(r"One of (\d+) tries", entry.reason) for entry in REFUSED.all()]
    assert tries == [[]] * 5 + [["10"], ["100"]]


def _refuse(by: User | None, message: str = "No.", subject: int = 1) -> None:
    about = Subject("slot", subject)
    record_refusal(Refused(message, subject=about), by=by, action=PAGE_REFUSED)


@pytest.mark.parametrize("loop", [lambda n: {"message": f"No {n}."}, lambda n: {"subject": n}])
def test_a_loop_over_anything_is_bounded(cast: Cast, loop: object) -> None:
    assert callable(loop)
    for number in range(1, 500):
        _refuse(cast.barista, **loop(number))
    assert REFUSED.count() == 21
    assert "(One of 100 tries within a minute.)" in REFUSED.latest("id").reason


def test_each_person_and_each_thing_has_its_own(cast: Cast) -> None:
    for who in (cast.barista, cast.shop_lead, None):
        for subject in [1, 2] * 9:
            _refuse(who, subject=subject)
    assert REFUSED.count() == 30
