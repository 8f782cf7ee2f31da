"""The shot model fitted to a station's shots: asked for, run, shown, and put to use."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import NotPermitted, Refused
from recipes.formula.formula import Formula
from recipes.modelling import actions as fits
from recipes.modelling.actions import ask_for_fit
from recipes.modelling.fitting import held_formula, learnt
from recipes.modelling.models import ShotFit
from recipes.modelling.prediction import predict_change
from recipes.modelling.result import from_json, to_json
from recipes.modelling.simulator import TrueStation
from recipes.publishing import run as publishing
from recipes.versions.models import Version
from stations.equipment.models import Slot
from stations.metrology.formula import Stated as Says
from stations.shots.actions import correct_shot, log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.modelling.fitted import fitted

__all__ = ["send"]  # a fixture

BUDGET = 15  # queries of the page with a fit and a change
TRUE = {"grind": 12.3, "absorbs": 0.95, "slow_rate": 0.065}
Pull = Callable[..., None]


@pytest.fixture(autouse=True)
def no_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fits are run by the tests themselves."""
    monkeypatch.setattr("recipes.modelling.actions.start", lambda fit_id: None)


@pytest.fixture
def slot(bar: Bar, send: Publish) -> Slot:
    """A slot under the published version, ended by water volume."""
    publishing.run(send().pk)
    found: Slot = bar.slots[0]
    return found


@pytest.fixture
def pull(bar: Bar, slot: Slot) -> Pull:
    """Log so many shots of a station whose true parameters are known, with the bar's noise."""

    def go(count: int, *, strength: bool = True) -> None:
        station = TrueStation(**TRUE, refractometer=1 if strength else 0)
        for shot in station.pull(bar.version.stated, count, seed=1):
            log_shot(slot=slot, shot=shot, by=bar.cast.barista)

    return go


def fit(bar: Bar, slot: Slot) -> ShotFit:
    """Asked for and run."""
    asked = ask_for_fit(station=slot.station, version=bar.version, by=bar.cast.shop_lead)
    assert fits.run_fit(asked.pk)
    asked.refresh_from_db()
    return asked


def test_true_parameters_come_back_from_logged_shots(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(14)
    done = fit(bar, slot)
    assert (done.state, done.shots) == ("done", 14)
    kept = from_json(done.result)
    found = dict(
        zip(
            kept.fit.names, zip(kept.fit.values, kept.fit.standard_errors, strict=True), strict=True
        )
    )
    assert list(found) == ["grind", "absorbs", "slow_rate"]
    assert kept.held == ("opening",)
    for name, true in TRUE.items():
        value, error = found[name]
        assert abs(value - true) < 4 * error, name
    assert 0.3 < kept.spread["time"] < 1.2  # 0.7 s of noise were put in
    assert kept.covers["brew_temperature"] == (Decimal("93.0"), Decimal("93.0"))


def test_what_is_kept_is_what_was_found(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(6)
    kept = from_json(fit(bar, slot).result)
    again = from_json(to_json(kept))
    assert np.array_equal(again.fit.covariance, kept.fit.covariance)
    assert again.covers == kept.covers


def test_settings_become_a_formula_again(bar: Bar, slot: Slot) -> None:
    """By hand: 280 pulses at 4.00 pulses/mL are 70 mL; 93.5 °C shown with an offset of -0.5 °C."""
    values = {
        "water_volume": {"value": "280"}, "brew_temperature": {"value": "93.5"},
        "taper_start": {"value": "258"}, "ends_by": {"value": "volume"},
    }  # fmt: skip
    held = held_formula(Formula(), values, slot.station)
    assert held["water_volume"].target == 70
    assert held["brew_temperature"].target == Decimal("93.0")
    assert held["taper_start"].target == pytest.approx(Decimal("92.142857"), abs=Decimal("1e-6"))
    assert held["ends_by"].text == "volume"


def test_a_shot_left_out_teaches_nothing(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(6)
    first = learnt(slot.station, bar.version)[0].shot
    spilt = Weighed(first.dose_mass, first.beverage_mass, first.shot_time, left_out=True)
    correct_shot(shot=first, seen_corrections=0, to=spilt, reason="Spilt", by=bar.cast.barista)
    assert len(learnt(slot.station, bar.version)) == 5


def test_too_few_shots_are_refused_with_how_many(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(4)
    with pytest.raises(Refused, match=r"4 check shots .* it takes 5"):
        ask_for_fit(station=slot.station, version=bar.version, by=bar.cast.shop_lead)


def test_asked_twice_it_is_one(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(5)
    lead, head = (
        ask_for_fit(station=slot.station, version=bar.version, by=who)
        for who in (bar.cast.shop_lead, bar.cast.head_roaster)
    )
    assert lead == head


def test_who_may_not(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(5)
    for who in (bar.cast.barista, bar.cast.other_lead):
        with pytest.raises(NotPermitted):
            ask_for_fit(station=slot.station, version=bar.version, by=who)


def test_finished_once_and_for_all(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(6)
    done = fit(bar, slot)
    assert not fits.run_fit(done.pk)
    for change in ({"state": "waiting"}, {"shots": 99}, {"why_not": "No"}):
        with pytest.raises(IntegrityError), transaction.atomic():
            ShotFit.objects.filter(pk=done.pk).update(**change)
    with pytest.raises(IntegrityError), transaction.atomic():
        done.delete()
    actions = Entry.objects.filter(action__startswith="fit.").values_list("action", flat=True)
    assert set(actions) == {"fit.asked", "fit.run"}


def test_no_fit_says_why_and_stays(
    bar: Bar, slot: Slot, pull: Pull, monkeypatch: pytest.MonkeyPatch, signed_in: SignedIn
) -> None:
    pull(5)
    monkeypatch.setattr("recipes.modelling.fitting.tellable", lambda shots, noise: ())
    done = fit(bar, slot)
    assert (done.state, done.result) == ("impossible", None)
    page = signed_in(bar.cast.shop_lead).get(done.get_absolute_url()).content.decode()
    assert "shots that tell something about the puck" in page


def test_a_fit_left_lying_is_found(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(5)
    asked = ask_for_fit(station=slot.station, version=bar.version, by=bar.cast.shop_lead)
    assert fits.left_lying() == []
    assert list(ShotFit.objects.left_lying(-fits.LEFT_LYING)) == [asked]


Ends = tuple[float, float, float]


def change(version: Version, done: ShotFit, **targets: str) -> dict[str, Ends]:
    """Low, mean and high of each quantity's difference."""
    formula = version.stated
    wanted = formula | {code: Says(Decimal(said)) for code, said in targets.items()}
    told = predict_change(from_json(done.result), formula, wanted)
    ends = {row.name: row.difference for row in told.rows}
    return {name: (float(d.low), float(d.value), float(d.high)) for name, d in ends.items()}


def test_a_change_goes_the_way_of_physics(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(12)
    done = fit(bar, slot)
    assert change(bar.version, done, brew_pressure="6")["time"][0] > 0
    assert change(bar.version, done, dose_mass="19")["time"][0] > 0
    more = change(bar.version, done, water_volume="75")
    low, value, high = more["beverage"]
    # 5 mL of cold water more weigh 4.99 g, and all of them reach the cup, with what they dissolve.
    assert low <= value <= high
    assert value == pytest.approx(5.0, abs=0.3)
    assert change(bar.version, done, brew_temperature="90")["extraction"][2] < 0


def test_what_cannot_be_concluded_is_said(bar: Bar, slot: Slot, pull: Pull) -> None:
    pull(6, strength=False)
    kept = from_json(fit(bar, slot).result)
    formula = bar.version.stated
    wanted = formula | {"brew_temperature": Says(Decimal(90)), "dose_mass": Says(Decimal(21))}
    said = " ".join(predict_change(kept, formula, wanted, 1.05).doubts)
    for words in (
        "pulled at 93.0\xa0°C brew temperature", "Dose lies outside", "another grind",
        "6 shots only", "slow extraction", "Too few shots with dissolved solids",
        "9 bar is assumed",
    ):  # fmt: skip
        assert words in said, (words, said)


def test_the_page_from_first_look_to_request(
    bar: Bar, slot: Slot, pull: Pull, signed_in: SignedIn
) -> None:
    pull(8)
    browser = signed_in(bar.cast.shop_lead)
    path = f"/versions/{bar.version.pk}/model/?station={slot.station_id}"
    assert "8 shots to learn from" in browser.get(path).content.decode()
    asked = browser.post(f"/stations/{slot.station_id}/fit/", {"version": bar.version.pk})
    assert asked.headers["Location"] == path
    waiting = ShotFit.objects.get()
    assert "waiting for a worker" in browser.get(path).content.decode()
    assert "HX-Refresh" not in browser.get(f"/shot-fits/{waiting.pk}/progress/").headers
    fits.run_fit(waiting.pk)
    assert browser.get(f"/shot-fits/{waiting.pk}/progress/").headers["HX-Refresh"] == "true"
    page = browser.get(f"{path}&brew_temperature=91&coarser=-2").content.decode()
    for words in (f"Fitted to 8 shots of station {slot.station.number}", "Standard uncertainty",
                  "Shot by shot", "Grind 2 % finer", "With the change",
                  ">Run the model<"):  # fmt: skip
        assert words in page, words
    assert browser.get(f"{path}&brew_temperature=300").status_code == 400
    form = browser.get(
        f"/requests/new/?version={bar.version.pk}&fit={waiting.pk}&brew_temperature=91"
    )
    assert form.context["form"].initial["brew_temperature"] == Decimal(91)
    assert "Shot model fitted to 8 check shots" in form.context["form"].initial["evidence"]


def test_the_page_keeps_sites_apart(bar: Bar, slot: Slot, pull: Pull, signed_in: SignedIn) -> None:
    pull(6)
    done = fit(bar, slot)
    outsider = signed_in(bar.cast.other_lead)
    path = f"/versions/{bar.version.pk}/model/"
    assert outsider.get(f"{path}?station={slot.station_id}").status_code == 400
    sent, ask = {"version": bar.version.pk}, f"/stations/{slot.station_id}/fit/"
    assert outsider.post(ask, sent).status_code == 404
    assert outsider.get(f"/shot-fits/{done.pk}/progress/").status_code == 404
    new = f"/requests/new/?version={bar.version.pk}&fit={done.pk}"
    assert outsider.get(new).status_code == 404
    barista = signed_in(bar.cast.barista)
    assert barista.post(ask, sent).status_code == 403
    assert signed_in(bar.cast.shop_lead).post(ask, {"version": "x"}).status_code == 400


def test_one_pulled_before_is_none_since_however_late_it_came(
    bar: Bar, slot: Slot, pull: Pull, signed_in: SignedIn
) -> None:
    unguarded("UPDATE stations_placement SET started_at = now() - interval '1 hour'")
    pull(5)
    made = timezone.now() - timedelta(minutes=20)
    late = Weighed(Decimal(18), Decimal(36), Decimal(28))
    log_shot(slot=slot, shot=late, by=bar.cast.barista, made_at=made)
    shots = [one.shot for one in learnt(slot.station, bar.version)]
    browser = signed_in(bar.cast.shop_lead)
    path = fitted(slot.station, bar.version, shots, bar.cast.shop_lead).get_absolute_url()
    assert browser.get(path).context["since"] == 0
    pull(1)
    assert browser.get(path).context["since"] == 1


def test_the_page_asks_no_more_with_more_shots(
    bar: Bar, slot: Slot, pull: Pull, signed_in: SignedIn
) -> None:
    browser = signed_in(bar.cast.shop_lead)

    def asked() -> int:
        shots = list(CheckShot.objects.order_by("id"))
        path = fitted(slot.station, bar.version, shots, bar.cast.shop_lead).get_absolute_url()
        browser.get(path)
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(f"{path}&brew_temperature=91").status_code == 200
        return len(queries)

    pull(5)
    few = asked()
    pull(15)
    assert asked() == few <= BUDGET
