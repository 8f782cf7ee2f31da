"""Fits over the API: asked for, read, put to use."""

import uuid
from decimal import Decimal

import pytest
from rest_framework.test import APIClient

from recipes.modelling.models import ShotFit
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from tests.bar import Bar
from tests.cast import ApiAs
from tests.publishing import Publish, send
from tests.recipes.modelling.fitted import fitted

__all__ = ["send"]  # a fixture

FITS = "/api/v1/shot-fits/"


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot with five check shots of the version it holds."""
    run.run(send().pk)
    found: Slot = bar.slots[0]
    for tenth in range(5):
        shot = Weighed(Decimal("18.0"), Decimal(f"37.{tenth}"), Decimal(f"27.{tenth}"))
        log_shot(slot=found, shot=shot, by=bar.cast.barista)
    return found


@pytest.fixture
def fit(bar: Bar, slot: Slot) -> ShotFit:
    """One that is done."""
    return fitted(
        slot.station, bar.version, list(CheckShot.objects.order_by("id")), bar.cast.shop_lead
    )


def ask(api: APIClient, bar: Bar, slot: Slot) -> tuple[int, dict[str, object]]:
    sent = {"station": slot.station_id, "version": bar.version.pk}
    answer = api.post(FITS, sent, format="json", headers={"Idempotency-Key": uuid.uuid4().hex})
    return answer.status_code, answer.json()


def test_it_is_asked_for_once(
    bar: Bar, slot: Slot, api_as: ApiAs, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("recipes.modelling.actions.start", lambda fit_id: None)
    api = api_as(bar.cast.shop_lead)
    status, told = ask(api, bar, slot)
    assert (status, told["state"], told["parameters"]) == (202, "waiting", [])
    assert ask(api, bar, slot)[1]["id"] == told["id"]
    assert api.get(f"{FITS}{told['id']}/prediction/").status_code == 409
    assert ask(api_as(bar.cast.barista), bar, slot)[0] == 403
    assert ask(api_as(bar.cast.other_lead), bar, slot)[0] == 400


def test_it_is_read_with_its_covariance(bar: Bar, fit: ShotFit, api_as: ApiAs) -> None:
    told = api_as(bar.cast.barista).get(f"{FITS}{fit.pk}/").json()
    assert [one["uncertainty"] for one in told["parameters"]] == ["0.24", "0.018", "0.0012", None]
    assert told["covariance"][0] == ["0.0576", "0", "0"]
    asked = f"{FITS}?station={fit.station_id}&version={fit.version_id}"
    listed = api_as(bar.cast.barista).get(asked)
    assert [one["id"] for one in listed.json()["results"]] == [fit.pk]
    assert api_as(bar.cast.other_lead).get(f"{FITS}{fit.pk}/").status_code == 404


def test_a_change_is_predicted_with_its_doubts(bar: Bar, fit: ShotFit, api_as: ApiAs) -> None:
    api = api_as(bar.cast.shop_lead)
    told = api.get(f"{FITS}{fit.pk}/prediction/?brew_pressure=7&coarser=-2").json()
    assert told["changes"] == ["Brew pressure not stated to 7\xa0bar", "Grind 2 % finer"]
    rows = {row["name"]: row["difference"] for row in told["rows"]}
    assert Decimal(rows["time"]["low"]) > 0
    assert any("another grind" in doubt for doubt in told["doubts"])


@pytest.mark.parametrize(
    ("query", "field"),
    [("brew_pressure=99", "brew_pressure"), ("coarser=x", "coarser"), ("coarser=31", "coarser"),
     ("beverage_mass=40", "beverage_mass"), ("dose_mass=NaN", "dose_mass")],
)  # fmt: skip
def test_what_can_not_be_is_named(
    bar: Bar, fit: ShotFit, api_as: ApiAs, query: str, field: str
) -> None:
    answer = api_as(bar.cast.shop_lead).get(f"{FITS}{fit.pk}/prediction/?{query}")
    assert answer.status_code == 400
    assert field in answer.content.decode()
