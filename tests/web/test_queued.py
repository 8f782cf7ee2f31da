"""What was noted without a line and is sent later: whose, when it was made, and once."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.conf import settings
from django.db import Error, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from people.persons.models import User
from recipes.requests.models import ChangeRequest
from stations.shots.models import CheckShot
from stations.slots.models import ReadBack
from tests.audit.sealed import unguarded
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA, HOTTER, make_approved, make_recipe
from tests.stations.conftest import VALUES, Bar, bar, place
from web.queued import AGO, ANSWER, LATER, OLDEST, WHOSE
from web.sent_later import KEY_AGE

__all__ = ["bar"]

HIDDEN = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')
SHOT = {"dose_mass": "18.1", "beverage_mass": "38.5", "shot_time": "27"}
MINUTE = 60


@dataclass(frozen=True)
class Answer:
    """What the device is answered."""

    status: int
    gone: str
    page: str
    said: Mapping[str, Any]


class Device:
    """A browser whose page was opened with a line, and sends what was noted on it later."""

    def __init__(self, browser: Client, person: User, address: str) -> None:
        self.browser, self.person, self.address = browser, person, address
        page = browser.get(address).content.decode()
        self.hidden = dict(HIDDEN.findall(page))

    def send(
        self,
        typed: Mapping[str, str],
        *,
        ago: float = 0,
        of: User | None = None,
        later: bool = True,
    ) -> Answer:
        """Send what is hidden in the page with what was typed, as its service worker would."""
        headers = {WHOSE: str((of or self.person).pk), AGO: str(round(ago))}
        headers |= {LATER: "1"} if later else {}
        got = self.browser.post(self.address, self.hidden | dict(typed), headers=headers)
        page = got.content.decode()
        said = json.loads(page) if got["Content-Type"] == "application/json" else {}
        return Answer(got.status_code, got.headers.get(ANSWER, ""), page, said)


@pytest.fixture
def device(bar: Bar, cast: Cast, signed_in: SignedIn) -> Device:
    place(bar.slot, cast.head_roaster)
    address = reverse("stations:shot_log", args=[bar.slot.pk])
    return Device(signed_in(cast.barista), cast.barista, address)


def _began(bar: Bar, ago: timedelta) -> None:
    """As if what is in force had been so for that long."""
    seconds = str(ago.total_seconds())
    unguarded(
        "UPDATE stations_placement SET started_at = now() - %s::interval WHERE slot_id = %s",
        seconds,
        bar.slot.pk,
    )


def test_it_is_done_once_and_says_where_it_led(device: Device) -> None:
    first, again = device.send(SHOT), device.send(SHOT)
    assert (first.status, first.gone, again.gone) == (200, "done", "done")
    shot = CheckShot.objects.get()
    assert first.said["leads_to"] == again.said["leads_to"] == shot.get_absolute_url()
    assert again.said["said"] == ["This was sent more than once; it was done once."]


def test_messages_stay_for_the_page_where_somebody_waits(device: Device) -> None:
    answer = device.send(SHOT, later=False)
    assert answer.said["said"] == []
    assert "Noted as check shot" in device.browser.get(device.address).content.decode()


def test_a_kept_page_notes_several_that_are_alike(device: Device) -> None:
    key = device.hidden["sent_once"]
    for mark in ("~one", "~two", "~one"):
        device.hidden["sent_once"] = key + mark
        device.send(SHOT)
    assert CheckShot.objects.count() == 2


def test_the_moment_is_when_it_was_made_and_the_history_says_both(bar: Bar, device: Device) -> None:
    _began(bar, timedelta(hours=1))
    device.send(SHOT, ago=13 * MINUTE)
    shot, late = CheckShot.objects.get(), timezone.now() - timedelta(minutes=13)
    assert abs(shot.at - late) < timedelta(seconds=20)
    entry = Entry.objects.filter(action="shot.logged", table_name="stations_checkshot").get()
    assert entry.at - shot.at > timedelta(minutes=12)
    assert entry.reason == f"Noted without a line at {shot.at:%Y-%m-%d %H:%M} UTC"
    assert datetime.fromisoformat(entry.changes["at"][1].replace(" ", "T")) == shot.at


@pytest.mark.parametrize("ago", [0, 20, -20])
def test_what_a_slow_line_takes_is_now(device: Device, ago: int) -> None:
    device.send(SHOT, ago=ago)
    assert timezone.now() - CheckShot.objects.get().at < timedelta(seconds=15)


@pytest.mark.parametrize("ago", [-3600, OLDEST.total_seconds() + 60, 10**10, 10**11])
def test_a_moment_that_can_not_be_is_refused(device: Device, ago: float) -> None:
    answer = device.send(SHOT, ago=ago)
    assert (answer.gone, CheckShot.objects.count()) == ("refused", 0)


def test_one_for_what_the_slot_held_before_is_refused(bar: Bar, cast: Cast, device: Device) -> None:
    place(bar.slot, cast.head_roaster)
    answer = device.send(SHOT)
    assert (answer.status, answer.gone) == (412, "refused")
    page = answer.page
    assert "the shot was pulled for what it held before" in page
    assert 'value="38.5"' in page
    assert not CheckShot.objects.exists()


def test_one_made_before_it_came_into_force_is_refused_too(bar: Bar, device: Device) -> None:
    _began(bar, timedelta(minutes=5))
    assert device.send(SHOT, ago=6 * MINUTE).status == 412
    assert device.send(SHOT, ago=4 * MINUTE).status == 200


def test_nobody_sends_what_another_typed(cast: Cast, signed_in: SignedIn, device: Device) -> None:
    device.browser = signed_in(cast.shop_lead)
    told = {cast.barista: (401, "signed-out"), cast.shop_lead: (409, "refused")}
    for of, expected in told.items():
        answer = device.send(SHOT, of=of)
        assert (answer.status, answer.gone) == expected
    assert not CheckShot.objects.exists()


def test_nobody_signed_in_sends_nothing(device: Device) -> None:
    device.browser.logout()
    answer = device.send(SHOT)
    assert (answer.status, answer.gone) == (401, "signed-out")


def test_a_new_proof_is_told_to_what_waited_longer(cast: Cast, device: Device) -> None:
    device.browser.handler.enforce_csrf_checks = True
    device.hidden["csrfmiddlewaretoken"] = "a" * 64
    answer = device.send(SHOT)
    assert (answer.status, answer.gone) == (403, "token")
    device.hidden["csrfmiddlewaretoken"] = answer.said["token"]
    assert device.send(SHOT).gone == "done"


def test_the_key_ends_before_its_answer_is_forgotten() -> None:
    days = timedelta(days=settings.IDEMPOTENCY_KEY_DAYS)
    assert OLDEST < timedelta(seconds=KEY_AGE) < days


def test_a_later_reading_says_more(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    placed = place(bar.slot, cast.head_roaster)
    _began(bar, timedelta(hours=1))
    address = reverse("stations:read_back", args=[bar.slot.pk])
    lead = Device(signed_in(cast.shop_lead), cast.shop_lead, address)
    assert lead.send({"as_shown": "on"}).gone == "done"
    lead.hidden["sent_once"] += "~earlier"
    assert lead.send({"water_volume": "281"}, ago=20 * MINUTE).gone == "done"
    placed.refresh_from_db()
    assert placed.verdict == "matches"
    assert list(ReadBack.objects.order_by("at").values_list("verdict", flat=True)) == [
        "differs", "matches",
    ]  # fmt: skip


def test_a_round_passes_nothing_over_that_was_settled_meanwhile(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    address = reverse("stations:to_key", args=[bar.slot.station.machine.site_id])
    round_ = Device(signed_in(cast.shop_lead), cast.shop_lead, address)
    prefix = f"slot{bar.slot.pk}-"
    seen = {f"{prefix}seen_placement": str(placed.pk), f"{prefix}as_shown": "on"}
    assert round_.send(seen).said["said"] == ["Read back: 1 match."]
    round_.hidden["sent_once"] += "~again"
    assert round_.send(seen).said["said"] == ["Read back: 1 match."]
    assert ReadBack.objects.count() == 2


@pytest.mark.parametrize("model", [CheckShot, ReadBack])
@pytest.mark.parametrize("off", [timedelta(minutes=1), timedelta(days=-4)])
def test_the_database_refuses_such_moments_too(
    bar: Bar, cast: Cast, model: type[CheckShot | ReadBack], off: timedelta
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    values: dict[str, object] = {"slot": bar.slot, "placement": placed, "by": cast.shop_lead}
    values |= {"verdicts": {}, "at": timezone.now() + off}
    if model is CheckShot:
        values |= SHOT | {"site": bar.slot.station.machine.site, "verdict": "open"}
    else:
        values |= {"found": VALUES, "verdict": "matches"}
    with pytest.raises(Error, match="last three days"), transaction.atomic():
        model.objects.create(**values)


def test_a_request_for_another_version_than_the_one_shown_is_refused(
    cast: Cast, signed_in: SignedIn
) -> None:
    recipe = make_recipe(cast)
    first = make_approved(cast, recipe)
    second = make_approved(cast, recipe, FORMULA | HOTTER)
    lead = signed_in(cast.shop_lead)
    address = f"{reverse('recipes:request_new')}?version={second.pk}"
    device = Device(lead, cast.shop_lead, address)
    device.hidden["seen_base"] = str(first.pk)
    answer = device.send({"site": str(cast.site.pk), "reason": "Sour"})
    assert not ChangeRequest.objects.exists()
    assert answer.gone == "refused"
