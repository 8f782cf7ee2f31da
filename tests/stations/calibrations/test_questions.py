"""Odd runs are asked about, in the form and over HTTP; what is odd and stands says why."""

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import Error, transaction
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid
from people.units.actions import choose_units
from recipes.recalibration.plan import make_retranslation_plan
from stations.calibrations.actions import record_barometer, record_calibration
from stations.calibrations.models import Calibration
from stations.calibrations.questions import ask, ask_about_figure, in_words
from stations.equipment.actions import add_station, change_site
from stations.equipment.models import Site
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.calibrating import answers_to, runs_at
from tests.stations.conftest import Bar
from web.units import FAHRENHEIT, OUNCE, Choice, read_by, shown

DUE = timezone.now().date() + timedelta(days=180)
HOT = [{**run, "temperature": "64"} for run in runs_at("4.0")]
SWAPPED = [{**run, "pulses": run["grams"][:-2], "grams": run["pulses"]} for run in runs_at("4.0")]


def record(bar: Bar, cast: Cast, runs: list[dict[str, str]], **answers: str) -> Calibration:
    return record_calibration(
        by=cast.technician, station=bar.first, kind="flow_meter", runs=runs, due_on=DUE,
        answers=answers,
    )  # fmt: skip


@pytest.mark.parametrize(("runs", "code"), [(HOT, "warm_water"), (SWAPPED, "swapped")])
def test_odd_runs_are_not_kept_without_an_answer(
    bar: Bar, cast: Cast, runs: list[dict[str, str]], code: str
) -> None:
    with pytest.raises(Invalid) as raised:
        record(bar, cast, runs)
    (problem,) = raised.value.problems
    assert problem.field.startswith(f"answers.{code}-")
    assert "common practice, no source" in problem.allowed
    assert not Calibration.objects.exists()


def test_an_answer_is_kept_signed_and_recorded(bar: Bar, cast: Cast) -> None:
    made = record(bar, cast, HOT, **answers_to(bar.first, "flow_meter", HOT))
    assert made.answers == [
        {"code": "warm_water", "runs": [1, 2, 3, 4, 5], "values": ["64 °C"] * 5,
         "reason": "Seen so twice"}
    ]  # fmt: skip
    entry = Entry.objects.get(action="calibration.recorded", operation="created")
    assert "Seen so twice" in str(entry.changes["answers"])
    plan = make_retranslation_plan(by=cast.technician, calibration=made)
    assert plan.content()["answers"] == made.answers
    with pytest.raises(Error), transaction.atomic():
        Calibration.objects.update(answers=[])


def test_an_answer_is_to_these_very_readings(bar: Bar, cast: Cast) -> None:
    answers = answers_to(bar.first, "flow_meter", HOT)
    hotter = [{**run, "temperature": "66"} for run in HOT]
    with pytest.raises(Invalid, match="66"):
        record(bar, cast, hotter, **answers)
    assert record(bar, cast, runs_at("4.0"), **answers).answers == []  # corrected: none is asked


def test_one_recorded_before_there_were_questions_takes_a_reason(bar: Bar, cast: Cast) -> None:
    made = record(bar, cast, HOT, **answers_to(bar.first, "flow_meter", HOT))
    made.answers = []  # as it stands in rows from before
    plan = make_retranslation_plan(by=cast.technician, calibration=made)
    assert any("64 °C" in concern for concern in plan.concerns)


# The form: worked out as often as one likes, asked, recorded once.


def typed(runs: list[dict[str, str]], **more: str) -> dict[str, str]:
    boxes = {
        f"run_{at}_{name}": value for at, run in enumerate(runs, 1) for name, value in run.items()
    }
    return {**boxes, "due_on": DUE.isoformat(), **more}


def test_working_runs_out_keeps_nothing(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.technician)
    new = reverse("stations:calibration_new", args=[bar.first.pk])
    for _ in range(3):
        answer = browser.post(new, typed(runs_at("4.0"), **{"try": "1"}))
        assert answer.status_code == 200
        assert "What these runs come to" in answer.content.decode()
        assert 'value="280"' in answer.content.decode()
    assert not Calibration.objects.exists()
    assert list(browser.get(reverse("stations:calibrations")).context["page"].rows) == []


def test_the_form_asks_and_keeps_what_was_typed(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.technician)
    new = reverse("stations:calibration_new", args=[bar.first.pk])
    tried = browser.post(new, typed(HOT, **{"try": "1"})).content.decode()
    assert "If 64 was read in °F it is 17.8 °C" in tried
    refused = browser.post(new, typed(HOT))
    assert refused.status_code == 400
    assert "Say why it stands, or correct the runs." in refused.content.decode()
    (asked,) = ask("flow_meter", HOT, bar.first)
    done = browser.post(new, typed(HOT, **{asked.field: "The line runs beside the boiler"}))
    assert done.status_code == 302
    page = browser.get(Calibration.objects.get().get_absolute_url()).content.decode()
    assert "The line runs beside the boiler" in page
    assert "Nothing is wrong with these runs" not in page


def test_whoever_reads_fahrenheit_is_asked_in_it_and_celsius_is_kept(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    one = cast.technician
    choose_units(by=one, revision=one.revision, temperatures="[degF]", masses="[oz_av]")
    browser, new = signed_in(one), reverse("stations:calibration_new", args=[bar.first.pk])
    warm = [
        {**run, "temperature": "147.2", "grams": f"{shown(Decimal(run['grams']), OUNCE):f}"}
        for run in HOT
    ]
    tried = browser.post(new, typed(warm, **{"try": "1"})).content.decode()
    assert "147.2 °F; 147.2 °F" in tried
    assert "Usual is water below 95 °F" in tried
    assert "was read in °F" not in tried
    (asked,) = ask("flow_meter", HOT, bar.first)
    answer = {asked.field: "The line runs beside the boiler"}
    assert browser.post(new, typed(warm, **answer)).status_code == 302
    (kept,) = Calibration.objects.get().answers
    assert kept["values"] == ["64 °C"] * 5
    told = browser.get(Calibration.objects.get().get_absolute_url()).content.decode()
    assert "147.2 °F; 147.2 °F" in told
    assert "64 °C" not in told


@pytest.mark.parametrize(
    ("kept", "read"),
    [
        ("displayed 93 °C, measured 92.5 °C", "displayed 199.4 °F, measured 198.5 °F"),
        ("−8.0 °C; +0.5 °C", "−14.4 °F; +0.9 °F"),  # noqa: RUF001 - the sign that pages print
        ("280 pulses, 70 g; -2 °C", "280 pulses, 2.46918 oz; 28.4 °F"),
        ("4.11 pulses/mL", "4.11 pulses/mL"),
    ],
)
def test_a_kept_answer_is_read_in_fahrenheit_and_ounces(kept: str, read: str) -> None:
    with read_by(lambda: Choice(FAHRENHEIT, OUNCE)):
        (told,) = in_words([{"code": "odd", "runs": [1], "values": [kept], "reason": "So"}])
    assert told == (f"Run 1 ({read})", "So")
    assert in_words([{"code": "odd", "runs": [], "values": [kept], "reason": "So"}]) == [
        (f"The result ({kept})", "So")
    ]


def test_an_odd_offset_is_told_in_fahrenheit(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    one = cast.technician
    choose_units(by=one, revision=one.revision, temperatures="[degF]", masses="g")
    new = reverse("stations:calibration_new", args=[bar.first.pk])
    page = signed_in(one).get(f"{new}?kind=temperature").content.decode()
    assert "°F" in page
    with read_by(lambda: Choice(FAHRENHEIT)):
        (asked,) = ask_about_figure("temperature", Decimal(-8), bar.first)
        assert "−14.4 °F" in asked.words  # noqa: RUF001 - the sign that pages print
        assert "within ±9 °F" in asked.words
    (stored,) = ask_about_figure("temperature", Decimal(-8), bar.first)
    assert stored.key == asked.key


def test_over_http_each_question_has_a_key(bar: Bar, cast: Cast, api_as: ApiAs) -> None:
    api, path = api_as(cast.technician), f"/api/v1/stations/{bar.first.pk}/calibrations/"
    body: dict[str, Any] = {"kind": "flow_meter", "runs": HOT, "due_on": DUE.isoformat()}

    def post(body: dict[str, Any]) -> Any:  # noqa: ANN401
        return api.post(path, body, headers={"Idempotency-Key": uuid.uuid4().hex})

    refused = post(body)
    assert refused.status_code == 400
    (problem,) = refused.json()["problems"]
    key = problem["field"].removeprefix("answers.")
    assert post({**body, "answers": {key: "  "}}).status_code == 400
    done = post({**body, "answers": {key: "The line runs beside the boiler"}})
    assert done.status_code == 201
    assert done.json()["answers"][0]["reason"] == "The line runs beside the boiler"


# A barometer, and figures that come without runs.


def high_up(cast: Cast, bar: Bar) -> Site:
    site = bar.first.machine.site
    change_site(
        by=cast.owner, site=site, revision=site.revision, name=site.name,
        time_zone=site.time_zone, altitude=Decimal(2240),
    )  # fmt: skip
    return site


def test_a_reading_reduced_to_sea_level_is_refused(bar: Bar, cast: Cast) -> None:
    """At 2,240 m the standard atmosphere has 772 hPa (ISO 2533: 771.9 by its formula)."""
    site = high_up(cast, bar)
    day = timezone.now().date() - timedelta(days=1)
    with pytest.raises(Invalid, match="712 to 831 hPa at 2240 m") as raised:
        record_barometer(
            by=cast.technician, site=site, revision=site.revision, air_pressure="1013",
            read_on=day,
        )  # fmt: skip
    assert "reduced to sea level" in raised.value.message
    record_barometer(
        by=cast.technician, site=site, revision=site.revision, air_pressure="779.4", read_on=day
    )
    with pytest.raises(Error, match="not reduced to sea level"), transaction.atomic():
        Site.objects.filter(pk=site.pk).update(air_pressure=Decimal("1013.25"))
    site.refresh_from_db()
    with pytest.raises(Invalid, match="altitude"):
        change_site(
            by=cast.owner, site=site, revision=site.revision, name=site.name,
            time_zone=site.time_zone, altitude=Decimal(12),
        )  # fmt: skip


def test_a_reading_that_few_days_have_takes_a_reason(bar: Bar, cast: Cast) -> None:
    """At 300 m, 1013 hPa is what a forecast says; the standard atmosphere has 978 (ISO 2533)."""
    site = bar.first.machine.site
    change_site(
        by=cast.owner, site=site, revision=site.revision, name=site.name,
        time_zone=site.time_zone, altitude=Decimal(300),
    )  # fmt: skip
    given: dict[str, Any] = {
        "by": cast.technician, "site": site, "revision": site.revision, "air_pressure": "1013",
        "read_on": timezone.now().date() - timedelta(days=1),
    }  # fmt: skip
    with pytest.raises(Invalid, match="978 hPa there"):
        record_barometer(**given)
    record_barometer(**given, reason="A mercury column, read twice")
    entry = Entry.objects.filter(action="site.barometer_read").latest("id")
    assert entry.reason == "A mercury column, read twice"


def test_an_unusual_figure_takes_a_reason(bar: Bar, cast: Cast) -> None:
    figures: dict[str, Any] = {
        "pulses_per_millilitre": Decimal("0.243"),
        "temperature_offset": Decimal(-8),
    }
    with pytest.raises(Invalid) as raised:
        add_station(by=cast.owner, machine=bar.first.machine, number=7, slots=2, **figures)
    assert [one.field for one in raised.value.problems] == [
        "pulses_per_millilitre", "temperature_offset",
    ]  # fmt: skip
    made = add_station(
        by=cast.owner, machine=bar.first.machine, number=7, slots=2, reason="Turbine", **figures
    )
    assert Entry.objects.filter(subject_id=made.pk, reason="Turbine").exists()


# Runs that are kept and do not count.


def test_a_run_that_is_left_out_is_kept_with_its_reason(bar: Bar, cast: Cast) -> None:
    runs = [*runs_at("4.0"), {"pulses": "310", "grams": "70.0", "temperature": "20"}]
    odd = record(bar, cast, runs)
    runs[5]["left_out"] = "Cup knocked"
    made = record(bar, cast, runs)
    assert (odd.dof, made.dof) == (5, 4)
    assert made.value != odd.value
    assert made.runs[5]["left_out"] == "Cup knocked"


def test_the_numbers_stay_those_that_were_typed(bar: Bar, cast: Cast) -> None:
    runs = [{**run, "left_out": "Tare"} if at == 0 else run for at, run in enumerate(HOT)]
    with pytest.raises(Invalid, match="Runs 2, 3, 4 and 5"):
        record(bar, cast, runs)


def test_most_runs_left_out_are_a_concern(bar: Bar, cast: Cast) -> None:
    runs = [{**run, "left_out": "Odd"} if at > 2 else run for at, run in enumerate(runs_at("4.0"))]
    made = record(bar, cast, runs)
    plan = make_retranslation_plan(by=cast.technician, calibration=made)
    assert "2 of 5 runs were left out" in plan.concerns[0]
    with pytest.raises(Invalid, match="at least 3"):
        record(bar, cast, [{**run, "left_out": "Odd"} for run in runs])
