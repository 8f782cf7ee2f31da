"""Six runs of a flow meter on a phone: 59 keys, each number typed once, nothing lost to a slip."""

import re
from decimal import Decimal

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from stations.calibrations.models import Calibration
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe
from tests.cast import Cast
from tests.stations.conftest import Bar, bar

__all__ = ["bar"]
pytestmark = pytest.mark.django_db(transaction=True)

# Pulses and grams of 4 pulses/mL in water of 19.5 °C; 140.0 would be five strokes, 99.5 are four.
RUNS = (("141", "35.2"), ("281", "70.1"), ("240", "59.8"), ("361", "90.0"), ("399", "99.5"),
        ("280", "69.9"))  # fmt: skip


MADE = re.compile(r"/calibrations/\d+/$")


class Keys:
    """Strokes on the keyboard that a phone shows, counted."""

    def __init__(self, page: Page) -> None:
        self.page, self.count, self.taps = page, 0, 0

    def type(self, text: str, then: str = "Tab") -> None:
        """Digits, and the key that goes on to the next box."""
        for key in (*text, then):
            self.page.keyboard.press(key)
            self.count += 1

    def tap(self, name: str) -> None:
        """A button."""
        self.page.get_by_role("button", name=name, exact=True).tap()
        self.taps += 1


def opened(bar: Bar, cast: Cast, open_page: OpenPage) -> Keys:
    """The form on a touch phone, its first box awake."""
    path = reverse("stations:calibration_new", args=[bar.first.pk])
    page = open_page(cast.technician, path, screen="phone", touch=True)
    page.on("dialog", lambda dialog: dialog.accept())
    expect(page.get_by_label("Water temperature")).to_be_focused()
    return Keys(page)


def type_all(keys: Keys, runs: tuple[tuple[str, str], ...] = RUNS) -> None:
    """The temperature once, then run by run; the last key works it out."""
    keys.type("19.5")
    for number, (pulses, grams) in enumerate(runs, 1):
        keys.type(pulses)
        keys.type(grams, "Enter" if number == len(runs) else "Tab")


def test_six_runs_take_59_keys_and_a_tap(bar: Bar, cast: Cast, open_page: OpenPage) -> None:
    keys = opened(bar, cast, open_page)
    type_all(keys)
    expect(keys.page.get_by_text("What these runs come to")).to_be_visible()
    axe(keys.page)
    assert not Calibration.objects.exists()
    keys.tap("Record it")
    keys.page.wait_for_url(MADE)
    assert (keys.count, keys.taps) == (59, 1)
    made = Calibration.objects.get()
    assert [(run["pulses"], run["grams"], run["temperature"]) for run in made.runs] == [
        (pulses, grams, "19.5") for pulses, grams in RUNS
    ]
    assert abs(made.value - 4) < Decimal("0.02")


def test_one_slip_costs_that_box_alone(bar: Bar, cast: Cast, open_page: OpenPage) -> None:
    """A tenfold slip is asked about; the box is typed anew, everything else stands."""
    keys = opened(bar, cast, open_page)
    slipped = (*RUNS[:1], ("2810", RUNS[1][1]), *RUNS[2:])
    type_all(keys, slipped)
    expect(keys.page.get_by_text("Is a digit or the decimal point wrong?")).to_be_visible()
    keys.tap("Record it")
    expect(keys.page.get_by_text("Say why it stands, or correct the runs.").last).to_be_visible()
    before = keys.count
    keys.page.get_by_label("Pulses").nth(1).tap()
    keys.page.get_by_label("Pulses").nth(1).select_text()
    keys.type("281", "Enter")
    expect(keys.page.get_by_text("Is a digit or the decimal point wrong?")).to_have_count(0)
    keys.tap("Record it")
    keys.page.wait_for_url(MADE)
    assert keys.count - before == 4
    assert [run["pulses"] for run in Calibration.objects.get().runs] == [p for p, _ in RUNS]


def test_a_run_is_left_out_with_a_reason(bar: Bar, cast: Cast, open_page: OpenPage) -> None:
    keys = opened(bar, cast, open_page)
    type_all(keys, (*RUNS[:1], ("301", RUNS[1][1]), *RUNS[2:]))
    expect(keys.page.get_by_text("Run 2 does not fit the others")).to_be_visible()
    keys.page.get_by_text("or one to leave out").tap()
    keys.page.get_by_label("Left out because").nth(1).fill("Cup knocked")
    keys.tap("Work it out again")
    expect(keys.page.get_by_text("does not fit the others")).to_have_count(0)
    keys.tap("Record it")
    keys.page.wait_for_url(MADE)
    expect(keys.page.get_by_text("Left out: Cup knocked")).to_be_visible()
    assert Calibration.objects.get().dof == 4


def test_a_reload_loses_nothing(bar: Bar, cast: Cast, open_page: OpenPage) -> None:
    keys = opened(bar, cast, open_page)
    type_all(keys)
    expect(keys.page.get_by_text("What these runs come to")).to_be_visible()
    keys.page.goto(keys.page.url)
    expect(keys.page.get_by_label("Weighed water").nth(5)).to_have_value("69.9")
    keys.page.get_by_label("Weighed water").nth(5).press("Enter")
    keys.tap("Record it")
    keys.page.wait_for_url(MADE)
    path = reverse("stations:calibration_new", args=[bar.first.pk])
    keys.page.goto(path)
    expect(keys.page.get_by_label("Pulses").first).to_have_value("")
