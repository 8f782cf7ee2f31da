"""What is worked out from check shots, over HTTP: charts, baselines, capability, two stations."""

import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from audit.capture.models import Entry
from recipes.publishing import run
from stations.charts.models import ChartBaseline
from stations.equipment.models import Slot
from tests.bar import Bar
from tests.cast import ApiAs
from tests.publishing import Publish
from tests.stations.charts.test_charting import CODE, STEADY, digest, pull

VIEWS = ("charts/", "capability/", "baselines/", "equivalence/?beside={beside}&margin=1.5")


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot under the published version, with ten steady shots."""
    run.run(send().pk)
    found: Slot = bar.slots[0]
    pull(found, bar, STEADY)
    return found


def read(api: APIClient, slot: Slot, path: str) -> dict[str, Any]:
    answer = api.get(f"/api/v1/stations/{slot.station_id}/{path}")
    assert answer.status_code == 200, answer.content
    return dict(answer.json())


def freeze(api: APIClient, slot: Slot, key: str = "", **body: str) -> Any:  # noqa: ANN401
    sent = {"content": digest(slot.station), "value": CODE, "reason": "First ten", **body}
    headers = {"Idempotency-Key": key or uuid.uuid4().hex}
    return api.post(f"/api/v1/stations/{slot.station_id}/baselines/", sent, headers=headers)


def test_a_baseline_is_frozen_once_however_often_it_is_sent(
    bar: Bar, slot: Slot, api_as: ApiAs
) -> None:
    api, key = api_as(bar.cast.technician), uuid.uuid4().hex
    assert [freeze(api, slot, key).status_code for _ in range(2)] == [201, 201]
    made = ChartBaseline.objects.get()
    listed = read(api, slot, "baselines/")["results"]
    assert [one["id"] for one in listed] == [made.pk]
    assert (listed[0]["shots"], listed[0]["reason"]) == (10, "First ten")
    entry = Entry.objects.filter(table_name="stations_chartbaseline").get()
    assert (entry.action, entry.reason) == ("chart.baseline_frozen", "First ten")


def test_charts_say_limits_and_signals(bar: Bar, slot: Slot, api_as: ApiAs) -> None:
    api = api_as(bar.cast.technician)
    freeze(api, slot)
    pull(slot, bar, ["39.5"])
    told = read(api, slot, "charts/?rules=limits")
    assert (told["value"], told["unit"], told["rules"]) == (CODE, "g", "limits")
    charts = told["charts"]
    # Mean of the ten and MR-bar/d2: 36.06 and (sum of ranges 3.4 / 9) / (2/sqrt(pi)), by hand.
    centre, spread = Decimal("36.06"), Decimal("3.4") / 9 / Decimal("1.1283791671")
    assert Decimal(charts["limits_from"]["centre"]) == centre
    assert abs(Decimal(charts["individuals"]["upper"]) - centre - 3 * spread) < Decimal("1e-5")
    newest = charts["points"][0]
    assert (newest["value"], newest["range"]) == ("39.5", "3.50")
    assert {one["rule"] for one in newest["signals"]} == {"N1", "EWMA", "CUSUM"}
    assert charts["points"][-1]["range"] is None
    assert charts["signalling"] == 1


def test_capability_and_equivalence(bar: Bar, slot: Slot, api_as: ApiAs) -> None:
    api = api_as(bar.cast.barista)
    told = read(api, slot, "capability/")
    assert (told["lower"], told["upper"]) == ("34.0", "38.0")
    assert told["capability"]["count"] == 10
    low, high = (Decimal(told["capability"]["cpk_interval"][end]) for end in ("low", "high"))
    assert low < Decimal(told["capability"]["cpk"]) < high
    other = next(each for each in bar.slots if each.station_id != slot.station_id)
    path = f"equivalence/?beside={other.station_id}&margin=0.5"
    assert read(api_as(bar.cast.head_roaster), slot, path)["equivalence"] is None
    pull(other, bar, STEADY)
    same = read(api_as(bar.cast.head_roaster), slot, path)
    assert same["equivalence"]["conclusion"] == "equivalent"
    assert same["equivalence"]["difference"] == "0.000000"
    assert (same["shots"], same["shots_beside"]) == (10, 10)


def test_what_cannot_be_used_is_named(bar: Bar, slot: Slot, api_as: ApiAs) -> None:
    api = api_as(bar.cast.technician)
    root = f"/api/v1/stations/{slot.station_id}/"
    for path, field in (
        ("charts/?rules=mine", "rules"), ("charts/?value=colour", "value"),
        ("charts/?content=feed", "content"), ("capability/?content=feed", "content"),
        ("equivalence/", "beside"), (f"equivalence/?beside={slot.station_id}", "beside"),
        (f"equivalence/?beside={slot.station_id}&margin=0", "margin"),
        ("beverage/?dose=18", "beverage"), ("beverage/?dose=900&beverage=36", "dose"),
    ):  # fmt: skip
        answer = api.get(root + path)
        assert answer.status_code == 400, path
        assert [each["field"] for each in answer.json()["problems"]] == [field], path
    assert freeze(api, slot, content="0" * 64).json()["problems"][0]["field"] == "content"
    assert freeze(api, slot, value="shot_time").status_code == 409  # all ten took as long


def test_who_may(bar: Bar, slot: Slot, api_as: ApiAs) -> None:
    assert freeze(api_as(bar.cast.barista), slot).status_code == 403
    outsider = api_as(bar.cast.other_lead)
    for path in ("charts/", "capability/", "baselines/", "beverage/?dose=18&beverage=36"):
        answer = outsider.get(f"/api/v1/stations/{slot.station_id}/{path}")
        assert answer.status_code == 404


def test_water_for_a_beverage(bar: Bar, slot: Slot, api_as: ApiAs) -> None:
    told = read(api_as(bar.cast.barista), slot, "beverage/?dose=18&beverage=36")
    assert (told["learnt"], told["used"]) == (True, 10)
    low, ratio, high = (Decimal(told["retained"][name]) for name in ("low", "ratio", "high"))
    assert low <= ratio <= high
    assert Decimal(told["low"]) < 36 < Decimal(told["high"])


@pytest.mark.parametrize("view", [*VIEWS, "beverage/?dose=18&beverage=36"])
def test_no_more_questions_for_more_shots(bar: Bar, slot: Slot, api_as: ApiAs, view: str) -> None:
    other = next(each for each in bar.slots if each.station_id != slot.station_id)
    api, path = api_as(bar.cast.head_roaster), view.format(beside=other.station_id)
    asked = []
    for _ in range(2):
        freeze(api, slot)
        pull(other, bar, STEADY)
        pull(slot, bar, STEADY)
        with CaptureQueriesContext(connection) as told:
            read(api, slot, path)
        asked.append(len(told))
    assert asked[0] == asked[1] <= 10  # one of them: what was replaced
