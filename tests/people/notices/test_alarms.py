"""Alarms as matters: owners of all sites hear of each once, though its words change as it lasts."""

from datetime import timedelta

import pytest
from django.utils import timezone
from pytest_django.fixtures import Settings

from audit import alarms
from audit.alarms import Alarm
from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from people.notices.models import Matter, Message
from tests.cast import Cast


@pytest.fixture(autouse=True)
def _all_sealed(settings: Settings) -> None:
    """Entries of tests that write for good are sealed by nobody: not what these are about."""
    settings.LEDGER_LATE = 10**9


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> list[Alarm]:
    """The only alarms there are; the tests change them."""
    found: list[Alarm] = []
    monkeypatch.setattr(alarms, "_SOURCES", {"now": lambda: found})
    return found


def told() -> list[int]:
    find_matters()
    return list(Matter.objects.open().filter(kind="history_alarm").values_list("pk", flat=True))


def test_owners_hear_of_it_until_it_is_over_and_again(cast: Cast, now: list[Alarm]) -> None:
    now.append(Alarm("The witness harbour refuses to cosign.", "/history/intact/"))
    (first,) = told()
    heard = {name for name, one in cast.everyone().items() if matters_of(one, 9)}
    assert heard == {"owner"}
    found = Matter.objects.get()
    assert (found.title, found.url) == (now[0].words, "/history/intact/")
    gone = now.pop()
    assert told() == []
    now.append(gone)
    (second,) = told()
    assert second != first


def test_counting_on_is_nothing_new(cast: Cast, now: list[Alarm]) -> None:
    now.append(Alarm("The history after entry no. 1,234 was not seen.", "/history/"))
    first = told()
    now[0] = Alarm("The history after entry no. 1,301 was not seen.", "/history/")
    assert told() == first
    now.append(Alarm("A trigger is off", "/history/"))
    assert len(told()) == 2


def test_sealing_that_stands_still_is_told(cast: Cast, settings: Settings) -> None:
    settings.LEDGER_LATE = -1
    assert told()
    found = Matter.objects.filter(kind="history_alarm", title__contains="wait to be sealed")
    assert found.count() == 1


def test_a_server_that_says_something_else_each_time_is_one_alarm(cast: Cast) -> None:
    """Servers put a number of their own into what they answer."""
    late = timezone.now() - timedelta(hours=1)
    waiting = Message.objects.create(
        person=cast.shop_lead, name="one", way="mail", how="at_once", tries=3, made_at=late,
        said="451 4.3.0 queue A7F3B: busy",
    )  # fmt: skip
    first = told()
    assert first
    Message.objects.filter(pk=waiting.pk).update(said="451 4.3.0 queue QX9C: busy")
    assert told() == first
    assert Matter.objects.open().filter(title__contains="QX9C").count() == 1
