"""Recording a calibration: exact runs in, a value with its uncertainty out, kept as measured."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import Error, connection, transaction
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted
from stations.calibrations.actions import record_barometer, record_calibration, record_figure
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import read_table
from stations.equipment.models import Station
from tests.cast import Cast
from tests.recipes.calibrating import accept, runs_at, typed_in
from tests.stations.conftest import Bar

DUE = timezone.now().date() + timedelta(days=180)


def record(bar: Bar, cast: Cast, **changes: object) -> Calibration:
    """A technician's calibration of the first station."""
    given: dict[str, object] = {"kind": "flow_meter", "runs": runs_at("4.0"), "due_on": DUE}
    given |= {"station": bar.first, "by": cast.technician} | changes
    return record_calibration(**given)  # type: ignore[arg-type]


def test_the_value_comes_from_the_runs_and_changes_nothing_yet(bar: Bar, cast: Cast) -> None:
    made = record(bar, cast)
    assert abs(made.value - 4) < Decimal("0.02")
    assert Decimal(0) < made.uncertainty < Decimal("0.02")
    assert (made.state, made.dof) == ("proposed", 4)
    assert Station.objects.get(pk=bar.first.pk).slope_uncertainty is None
    entry = Entry.objects.get(action="calibration.recorded", operation="created")
    assert entry.changes["value"] == [None, str(made.value)]


def test_the_air_it_was_weighed_in_is_kept(bar: Bar, cast: Cast) -> None:
    """At 1,650 m the standard atmosphere has 830.1 hPa (ISO 2533, by the formula's own table)."""
    up = record(bar, cast, station=bar.away)
    assert abs(up.air_pressure - Decimal("830.1")) < 1
    site = bar.away.machine.site
    record_barometer(
        site=site, revision=site.revision, air_pressure="815.2",
        read_on=timezone.now().date() - timedelta(days=1), by=cast.technician,
    )  # fmt: skip
    site.refresh_from_db()
    assert record(bar, cast, station=bar.away).air_pressure == Decimal("815.2")


@pytest.mark.parametrize(
    ("number", "name", "value"),
    [(1, "pulses", "0"), (2, "pulses", "280.5"), (3, "grams", "NaN"), (4, "grams", "-70"),
     (5, "temperature", "101"), (1, "temperature", ""), (2, "grams", "7,0,0"), (3, "grams", "1e3")],
)  # fmt: skip
def test_a_bad_reading_is_named_by_its_run(
    bar: Bar, cast: Cast, number: int, name: str, value: str
) -> None:
    runs = runs_at("4.0")
    runs[number - 1][name] = value
    with pytest.raises(Invalid) as raised:
        record(bar, cast, runs=runs)
    assert raised.value.problems[0].field == f"run {number} {name}"
    assert not Calibration.objects.exists()


@pytest.mark.parametrize("runs", [[], runs_at("4.0")[:2], runs_at("4.0") * 21])
def test_too_few_and_too_many_runs(bar: Bar, cast: Cast, runs: list[dict[str, str]]) -> None:
    with pytest.raises(Invalid, match=r"at (least 3|most 100)"):
        record(bar, cast, runs=runs)


@pytest.mark.parametrize("due_on", [date(2001, 1, 1), DUE + timedelta(days=900)])
def test_it_is_due_within_two_years(bar: Bar, cast: Cast, due_on: date) -> None:
    with pytest.raises(Invalid, match="two years"):
        record(bar, cast, due_on=due_on)


@pytest.mark.parametrize("who", ["shop_lead", "barista", "owner"])
def test_others_record_none(bar: Bar, cast: Cast, who: str) -> None:
    with pytest.raises(NotPermitted):
        record(bar, cast, by=getattr(cast, who))


@pytest.mark.parametrize(
    "text",
    ["pulses grams temp\n280 70.0 20\n", "280;70.0;20", "280;70,0;20", "\n280\t70.0\t20\n\n"],
)
def test_a_table_is_read_however_it_was_copied(text: str) -> None:
    assert read_table("flow_meter", text) == [
        {"pulses": "280", "grams": "70.0", "temperature": "20"}
    ]


def test_a_figure_typed_in_is_a_calibration_like_any_other(bar: Bar, cast: Cast) -> None:
    """With a reason and somebody who accepts it; nobody knows how uncertain it is from then on."""
    who = cast.technician
    accept(record(bar, cast), who)
    assert Station.objects.get(pk=bar.first.pk).slope_uncertainty is not None
    made = typed_in(bar.first, "4.1", who)
    assert (made.state, made.runs, made.uncertainty) == ("proposed", [], None)
    assert made.typed_because == "From its papers"
    station = Station.objects.get(pk=bar.first.pk)
    assert station.pulses_per_millilitre != Decimal("4.1")
    accept(made, who)
    station.refresh_from_db()
    assert station.pulses_per_millilitre == Decimal("4.1")
    assert (station.slope_uncertainty, station.repeatability) == (None, None)


@pytest.mark.parametrize(
    ("value", "reason", "field"),
    [("0", "Papers", "value"), ("4.1", " ", "reason"), ("0.25", "Papers", "answers.swapped"),
     ("5.2", "Papers", "answers.moved")],
)  # fmt: skip
def test_a_figure_needs_a_reason_and_answers(
    bar: Bar, cast: Cast, value: str, reason: str, field: str
) -> None:
    with pytest.raises(Invalid) as raised:
        record_figure(
            by=cast.technician, station=bar.first, kind="flow_meter", value=Decimal(value),
            reason=reason, due_on=DUE,
        )  # fmt: skip
    assert raised.value.problems[0].field.startswith(field)
    with pytest.raises(NotPermitted):
        typed_in(bar.first, "4.1", cast.owner)


def sql(text: str) -> Callable[[Calibration], object]:
    """An attack in raw SQL."""

    def run(made: Calibration) -> None:
        with connection.cursor() as cursor:
            cursor.execute(text)

    return run


ATTACKS: dict[str, Callable[[Calibration], object]] = {
    "other value": lambda made: Calibration.objects.update(value=9),
    "other runs": lambda made: Calibration.objects.update(runs=[]),
    "accept unsigned": lambda made: Calibration.objects.update(
        state="accepted", decided_by=made.recorded_by, decided_at=timezone.now()
    ),
    "reject silently": lambda made: Calibration.objects.update(
        state="rejected", decided_by=made.recorded_by, decided_at=timezone.now()
    ),
    "delete": lambda made: made.delete(),
    "sql": sql("UPDATE stations_calibration SET uncertainty = 0"),
    "sql delete": sql("DELETE FROM stations_calibration"),
    "sql truncate": sql("TRUNCATE stations_calibration CASCADE"),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_what_was_measured_stays(bar: Bar, cast: Cast, name: str) -> None:
    made = record(bar, cast)
    with pytest.raises(Error), transaction.atomic():
        ATTACKS[name](made)
    kept = Calibration.objects.get(pk=made.pk)
    assert (kept.value, kept.state, kept.runs) == (made.value, "proposed", made.runs)
