"""What a bar is shown, a sheet prints and a gateway is served is checked against its signature.

The tampering is done with the triggers standing aside, as whoever runs the database may.
"""

from collections.abc import Callable
from html import unescape

import pytest
from django.urls import reverse

from audit.errors import Refused
from people.signatures.content import written_now
from people.tokens.models import Scope
from recipes.planning import served
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from stations.slots.signed import STOP, withhold
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, measure
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.test_signed_content import tamper

__all__ = ["send"]
pytestmark = pytest.mark.django_db
FORGED = "97.9"
VALUES = (
    'UPDATE stations_controlsettings SET "values" = jsonb_set("values",'
    " '{brew_temperature,value}', '\"97.9\"') WHERE id = %s"
)
SITE = "/api/v1/sites/{}/settings/"


@pytest.fixture
def first(bar: Bar, send: Publish) -> Slot:
    """A slot that a publication was sent to, as every other of the chain."""
    run.run(send().pk)
    return bar.slots[0]


def held(slot: Slot) -> Placement:
    return (
        Placement.objects.in_force().select_related("settings", "signature", "slot").get(slot=slot)
    )


def forge(slot: Slot) -> None:
    tamper(VALUES, held(slot).settings_id)


PAGES: dict[str, Callable[[Slot], str]] = {
    "slot": lambda slot: reverse("stations:slot", args=[slot.pk]),
    "bar page": lambda slot: reverse("stations:at", args=[slot.station.code]),
    "sheet": lambda slot: reverse("stations:sheet", args=[slot.station_id]) + "?settings=1",
    "to key": lambda slot: reverse("stations:to_key", args=[slot.station.machine.site_id]),
    "read back": lambda slot: reverse("stations:read_back", args=[slot.pk]),
    "log a shot": lambda slot: reverse("stations:shot_log", args=[slot.pk]),
}


@pytest.mark.parametrize("page", PAGES)
def test_a_page_shows_a_stop_instead(page: str, first: Slot, bar: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(bar.cast.shop_lead)
    asked = PAGES[page](first)
    assert STOP not in unescape(browser.get(asked).content.decode())
    forge(first)
    shown = unescape(browser.get(asked).content.decode())
    assert STOP in shown
    assert FORGED not in shown


def test_what_matched_before_is_still_listed_to_key_in(
    first: Slot, bar: Bar, signed_in: SignedIn
) -> None:
    Placement.objects.in_force().update(verdict="matches")
    forge(first)
    shown = unescape(signed_in(bar.cast.shop_lead).get(PAGES["to key"](first)).content.decode())
    assert STOP in shown


@pytest.mark.parametrize("name", ["station", "site"])
def test_lists_of_slots_have_a_mark_of_their_own(
    name: str, first: Slot, bar: Bar, signed_in: SignedIn
) -> None:
    station = first.station
    pk = station.pk if name == "station" else station.machine.site_id
    browser, address = signed_in(bar.cast.shop_lead), reverse(f"stations:{name}", args=[pk])
    assert "Not as signed" not in browser.get(address).content.decode()
    forge(first)
    assert "Not as signed" in browser.get(address).content.decode()


def test_nothing_that_was_read_back_matches_it(first: Slot, bar: Bar, signed_in: SignedIn) -> None:
    placement = held(first)
    found = {code: each["value"] for code, each in placement.settings.values.items()}
    lead = bar.cast.shop_lead
    read = read_back(by=lead, slot=first, seen_placement=placement.pk, found=found)
    page = f"{PAGES['read back'](first)}?read={read.pk}"
    browser = signed_in(lead)
    assert "Matches" in browser.get(page).content.decode()
    forge(first)
    shown = unescape(browser.get(page).content.decode())
    assert STOP in shown
    assert "Matches" not in shown
    with pytest.raises(Refused, match="not what was signed"):
        read_back(
            by=lead, slot=first, seen_placement=placement.pk,
            found={**found, "brew_temperature": FORGED},
        )  # fmt: skip


def test_a_gateway_is_told_and_not_served(first: Slot, bar: Bar, api_as: ApiAs) -> None:
    gateway = api_as(bar.cast.shop_lead, Scope.GATEWAY)
    address = SITE.format(bar.cast.site.code)
    before = gateway.get(address)
    served = {each["slot"]: each for each in before.json()["slots"]}
    assert served[first.pk]["problem"] == ""
    forge(first)
    again = gateway.get(address, headers={"If-None-Match": before.headers["ETag"]})
    after = {each["slot"]: each for each in again.json()["slots"]}
    stations = set(Placement.objects.filter(settings=held(first).settings).values_list("slot"))
    others = [pk for pk in served if (pk,) not in stations]
    assert after[first.pk]["problem"].startswith(STOP)
    assert after[first.pk]["settings"] == {}
    assert [after[pk] for pk in others] == [served[pk] for pk in others]
    reading = {"slot": first.pk, "placement": held(first).pk, "found": {}}
    told = gateway.post(
        f"/api/v1/sites/{bar.cast.site.code}/read-backs/", {"read_backs": [reading]},
        format="json", headers={"Idempotency-Key": "read-backs-1"},
    ).json()  # fmt: skip
    assert not told["read_backs"][0]["taken"]
    assert STOP in told["read_backs"][0]["stale"]


def test_the_slots_of_the_api_say_so(first: Slot, bar: Bar, api_as: ApiAs) -> None:
    api = api_as(bar.cast.shop_lead)
    forge(first)
    rows = {row["id"]: row for row in api.get("/api/v1/slots/").json()["results"]}
    one = api.get(f"/api/v1/slots/{first.pk}/").json()
    assert rows[first.pk] == one
    assert one["condition"] == "not_as_signed"
    assert one["should_hold"]["settings"] == {}
    assert one["should_hold"]["problem"].startswith(STOP)
    placements = api.get(f"/api/v1/slots/{first.pk}/placements/").json()["results"]
    assert placements[0]["settings"] == {}


OF_SETTINGS = "UPDATE stations_controlsettings SET {} WHERE id = %s"
TAMPERED: dict[str, tuple[str, str]] = {
    "values": (VALUES, "settings"),
    "another setting": (
        OF_SETTINGS.format('"values" = "values" || \'{"rise_time": {"value": "9", "unit": "s"}}\''),
        "settings",
    ),
    "title": (OF_SETTINGS.format("title = 'Decaf · version 9'"), "settings"),
    "station": (OF_SETTINGS.format("station_id = station_id + 1"), "settings"),
    "content": (OF_SETTINGS.format(f"content_digest = '{'e' * 64}'"), "settings"),
    "what was seen": (
        "UPDATE people_signedcontent SET canonical = replace(canonical, '93.', '97.')"
        " WHERE signature_id = %s",
        "signature",
    ),
    "digest": (
        f"UPDATE people_signature SET digest = '{'e' * 64}' WHERE id = %s",
        "signature",
    ),
    "what it is about": (
        "UPDATE people_signature SET subject_id = subject_id + 1 WHERE id = %s", "signature",
    ),
    "what it is under": (
        "UPDATE stations_placement SET basis_id = basis_id + 1 WHERE id = %s", "placement",
    ),
}  # fmt: skip


def why(slot: Slot) -> str:
    found = held(slot)
    withhold([found])
    return found.problem


@pytest.mark.parametrize("what", TAMPERED)
def test_each_part_of_it_is_compared(what: str, first: Slot) -> None:
    assert why(first) == ""
    placement = held(first)
    keys = {
        "settings": placement.settings_id, "signature": placement.signature_id,
        "placement": placement.pk,
    }  # fmt: skip
    statement, key = TAMPERED[what]
    tamper(statement, keys[key])
    assert why(first).startswith(STOP)


def test_what_is_remembered_of_a_plan_had_its_digest_whatever_became_of_the_row(
    first: Slot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even where a row that was written again can't be told from the one read: nothing forged fits.

    As after a table was written anew, a restore, or a transaction number that came round again.
    """
    placement, states = held(first), written_now
    signed = placement.signature
    assert signed
    before = states([signed])
    assert why(first) == ""
    tamper(TAMPERED["what was seen"][0], signed.pk)
    tamper(VALUES, placement.settings_id)
    assert states([signed]) != before  # of itself it is told, within one transaction as well
    monkeypatch.setattr(served, "written_now", lambda _: before)
    assert "the settings" in why(first)


def test_a_forged_plan_is_not_remembered(first: Slot) -> None:
    """What has another digest is read anew each time, and is the same stop."""
    placement = held(first)
    tamper(TAMPERED["what was seen"][0], placement.signature_id)
    assert {"what is kept of the signature" in why(first) for _ in range(2)} == {True}


def test_a_forger_who_signs_anew_is_stopped_by_the_document(first: Slot) -> None:
    """Content, settings and signature made to fit each other: the publication names the digest."""
    placement = held(first)
    content = "SELECT canonical FROM people_signedcontent WHERE signature_id = %s"
    tamper(VALUES, placement.settings_id)
    tamper(
        "WITH made AS (UPDATE people_signedcontent SET canonical ="
        f" regexp_replace(({content}), '\"value\":\"93[.0-9]*\"', '\"value\":\"97.9\"', 'g')"
        " WHERE signature_id = %s RETURNING *) UPDATE people_signature s SET digest ="
        " encode(sha256(convert_to(canonical, 'UTF8')), 'hex') FROM made WHERE made.signature_id ="
        " s.id",
        placement.signature_id, placement.signature_id,
    )  # fmt: skip
    assert "the plan" in why(first)


def test_what_was_signed_before_content_was_kept_is_held_against_its_entry(first: Slot) -> None:
    tamper("DELETE FROM people_signedcontent WHERE signature_id = %s", held(first).signature_id)
    assert why(first) == ""
    forge(first)
    assert why(first).startswith(STOP)


def test_permits_and_re_translations_too(first: Slot, bar: Bar) -> None:
    permit([first], bar.cast.head_roaster)
    other = bar.stations[1].slots.order_by("number")[0]
    accept(measure(other.station, "4.2", bar.cast.technician), bar.cast.technician)
    assert {held(first).basis, held(other).basis} == {"permit", "re_translation"}
    for slot in (first, other):
        assert why(slot) == ""
        forge(slot)
        assert why(slot).startswith(STOP)
