"""From runs to an accepted calibration, as a technician clicks it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from people.units.actions import choose_units
from recipes.publishing import run
from stations.calibrations.models import Calibration
from tests.bar import Bar
from tests.cast import PASSWORD, SignedIn
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, holds, measure, runs_at, typed_in
from tests.recipes.permits.test_permits import permit

__all__ = ["send"]
DUE = (timezone.now() + timedelta(days=90)).date().isoformat()


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def rows_typed() -> dict[str, str]:
    """The boxes of the form."""
    return {
        f"run_{number}_{name}": value
        for number, run_ in enumerate(runs_at("4.2"), 1)
        for name, value in run_.items()
    }


def test_from_runs_to_new_pulses(placed: Bar, signed_in: SignedIn) -> None:
    browser, who = signed_in(placed.cast.technician), placed.cast.technician
    new = reverse("stations:calibration_new", args=[placed.stations[0].pk])
    assert browser.get(new).status_code == 200
    page = browser.post(new, {**rows_typed(), "due_on": DUE}, follow=True).content.decode()
    assert '<svg role="img" aria-label="5 runs from' in page
    assert "5 runs from" in page
    made = Calibration.objects.get()
    address = reverse("recipes:calibration_accept", args=[made.pk])
    shown = browser.get(address)
    assert shown.context["lines"][0][1] == [("Water volume", "280", "294", "{pulse}")]
    assert "294" in shown.content.decode()
    typed = {
        "seen_digest": shown.context["plan"].digest, "revision": "1",
        "email": who.email, "password": PASSWORD,
    }  # fmt: skip
    assert b"although: Pulses do not rise" in browser.post(address, typed).content
    typed["reason"] = "Only doubles are poured here"
    assert browser.post(address, {**typed, "password": "guess"}).status_code == 400
    assert browser.post(address, typed).status_code == 302
    slot = placed.stations[0].slots.first()
    assert holds(slot).settings.values["water_volume"]["value"] == "294"
    assert "Slot 1" in browser.get(made.get_absolute_url()).content.decode()
    assert browser.post(address, typed).status_code == 409
    assert browser.get(address).status_code == 200


def test_a_pasted_table_counts_as_well(placed: Bar, signed_in: SignedIn) -> None:
    table = "pulses\tgrams\t°C\n" + "\n".join("\t".join(row.values()) for row in runs_at("4.2"))
    new = reverse("stations:calibration_new", args=[placed.stations[0].pk])
    answer = signed_in(placed.cast.technician).post(new, {"table": table, "due_on": DUE})
    assert answer.status_code == 302
    assert Calibration.objects.get().runs == runs_at("4.2")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({}, "nothing was given"),
        ({"run_1_pulses": "280"}, "needs all its values"),
        ({"table": "280 70.0"}, "line 1"),
        ({"table": "280 70.0 x\n1 2 3"}, "Run 1 temperature"),
        ({"table": "280 70 20\n140 35 20"}, "at least 3"),
        ({**rows_typed(), "table": "280 70 20"}, "clear one of them"),
        ({**rows_typed(), "due_on": "2001-01-01"}, "two years"),
    ],
)
def test_what_cannot_be_fitted_is_told(
    placed: Bar, signed_in: SignedIn, typed: dict[str, str], said: str
) -> None:
    new = reverse("stations:calibration_new", args=[placed.stations[0].pk])
    answer = signed_in(placed.cast.technician).post(new, {"due_on": DUE, **typed})
    assert answer.status_code == 400
    assert said in answer.content.decode()
    assert not Calibration.objects.exists()


def test_rejecting_says_why(placed: Bar, signed_in: SignedIn) -> None:
    made = measure(placed.stations[0], "4.2", placed.cast.technician)
    browser = signed_in(placed.cast.head_roaster)
    address = reverse("recipes:calibration_reject", args=[made.pk])
    assert browser.post(address, {"revision": "1", "reason": ""}).status_code == 400
    assert browser.post(address, {"revision": "1", "reason": "Leak"}).status_code == 302
    assert "Leak" in browser.get(made.get_absolute_url()).content.decode()


def test_the_list_names_what_is_due(placed: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(placed.cast.technician)
    waiting = measure(placed.stations[0], "4.2", placed.cast.technician)
    page = browser.get(reverse("stations:calibrations"))
    assert list(page.context["waiting"]) == [waiting]
    assert list(page.context["due"]) == []
    accept(waiting, placed.cast.technician)
    assert list(browser.get(reverse("stations:calibrations")).context["waiting"]) == []
    soon = measure(placed.stations[1], "4.1", placed.cast.technician, days=20)
    accept(soon, placed.cast.technician)
    page = browser.get(reverse("stations:calibrations"))
    assert list(page.context["due"]) == [soon]
    assert "Due soon" in page.content.decode()
    accept(measure(placed.stations[1], "4.1", placed.cast.technician), placed.cast.technician)
    assert list(browser.get(reverse("stations:calibrations")).context["due"]) == []


def test_the_delivered_water_line_by_line(placed: Bar, signed_in: SignedIn) -> None:
    slot = placed.stations[0].slots.get(number=1)
    browser = signed_in(placed.cast.barista)
    address = reverse("recipes:delivery", args=[slot.pk])
    assert "typed in, not calibrated" in browser.get(address).content.decode()
    accept(measure(placed.stations[0], "4.2", placed.cast.technician), placed.cast.technician)
    shown = browser.get(address)
    assert [line.name for line, *_ in shown.context["lines"]] == [
        "slope", "repeatability", "quantisation",
    ]  # fmt: skip
    assert shown.context["budget"].pulses == 294
    assert "typed in" not in shown.content.decode()
    assert signed_in(placed.cast.other_lead).get(address).status_code == 404


def test_a_barometer_counts_before_the_altitude(placed: Bar, signed_in: SignedIn) -> None:
    site = placed.cast.other_site  # 1,650 m: water boils near 94.6 °C
    browser = signed_in(placed.cast.technician)
    address = reverse("stations:barometer", args=[site.pk])
    today = timezone.now().date() - timedelta(days=1)
    typed = {"revision": "1", "air_pressure": "850", "read_on": today.isoformat()}
    assert browser.post(address, {**typed, "air_pressure": "399"}).status_code == 400
    reduced = browser.post(address, {**typed, "air_pressure": "1013.25"})
    assert (reduced.status_code, b"reduced to sea level" in reduced.content) == (400, True)
    assert browser.post(address, {**typed, "read_on": "2999-01-01"}).status_code == 400
    assert browser.post(address, typed).status_code == 302
    assert browser.post(address, typed).status_code == 412
    assert "95.1" in browser.get(site.get_absolute_url()).content.decode()


def test_an_offset_has_no_32_in_it_for_who_reads_fahrenheit(
    placed: Bar, signed_in: SignedIn
) -> None:
    """−0.5 °C is −0.9 °F; as a temperature it would be 31.1 °F."""  # noqa: RUF002
    who, station = placed.cast.technician, placed.stations[0]
    choose_units(by=who, revision=who.revision, temperatures="[degF]", masses="g")
    browser = signed_in(who)
    figure = reverse("stations:figure_new", args=[station.pk])
    page = browser.get(f"{figure}?kind=temperature").content.decode()
    assert ("0.9" in page, "31.1" in page) == (True, False)
    runs = {f"run_{row}_displayed": "199.4" for row in (1, 2, 3)}
    runs |= {f"run_{row}_measured": measured for row, measured in ((1, "198.5"), (2, "198.4"),
             (3, "198.6"))}  # fmt: skip
    address = reverse("stations:calibration_new", args=[station.pk])
    tried = browser.post(
        f"{address}?kind=temperature",
        {**runs, "due_on": timezone.now().date() + timedelta(days=90), "try": "1"},
    )
    shown = tried.content.decode().partition("What these runs come to")[2]
    assert ("0.9" in shown, "31.1" in shown) == (True, False)


def test_what_a_slot_is_set_to_is_held_against_the_value_of_now(
    placed: Bar, signed_in: SignedIn
) -> None:
    """280 pulses are 65.3 mL of a meter of 4.285: 4.7 mL short, outside 2 mL either way."""
    station = placed.stations[0]
    granted = permit([station.slots.get(number=1)], placed.cast.head_roaster)  # keeps 280 pulses
    assert granted.pk
    accept(typed_in(station, "4.285", placed.cast.technician), placed.cast.technician)
    address = reverse("recipes:delivery", args=[station.slots.get(number=1).pk])
    page = signed_in(placed.cast.barista).get(address)
    assert page.context["budget"].pulses == 280
    assert page.context["fits"] is False
    assert "Not held" in page.content.decode()


def test_a_figure_by_hand_is_reviewed(placed: Bar, signed_in: SignedIn) -> None:
    station, browser = placed.stations[0], signed_in(placed.cast.technician)
    edit = reverse("stations:figure_new", args=[station.pk])
    assert "4.00" in browser.get(edit).content.decode()
    typed = {"value": "4,2", "reason": "From its papers", "due_on": DUE}
    assert browser.post(edit, {**typed, "reason": ""}).status_code == 400
    odd = browser.post(edit, {**typed, "value": "0.25"})
    assert (odd.status_code, b"Is it mL per pulse?" in odd.content) == (400, True)
    assert browser.post(edit, typed).status_code == 302
    made = Calibration.objects.get()
    station.refresh_from_db()
    assert station.pulses_per_millilitre == Decimal("4.00")
    page = browser.get(made.get_absolute_url()).content.decode()
    assert "From its papers" in page
    assert "how uncertain it is nobody knows" in page
    accept(made, placed.cast.technician)
    assert holds(station.slots.first()).settings.values["water_volume"]["value"] == "294"
    listed = browser.get(reverse("stations:calibrations")).content.decode()
    assert "typed in" in listed
