"""Causes told apart at one station: each is found by its own, answered, and cleared by evidence."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from django.db import connection, transaction
from django.db.utils import DatabaseError
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from stations.causes.actions import CAUSE_ACKNOWLEDGED, acknowledge, settle
from stations.causes.following import TO_CLEAR
from stations.causes.models import CauseFinding, CauseRun
from stations.causes.sweeping import look_for_causes
from stations.equipment.replaced import Part
from stations.grinders.models import EventKind, GrinderEvent
from stations.replacements.actions import Place, replace_part
from stations.slots.models import Placement
from tests.cast import Cast, SignedIn
from tests.findings import finding_at
from tests.grinders import grinder_of
from tests.stations.conftest import Bar, place
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db

BEGIN = datetime.now(UTC) - timedelta(days=3)


class Floor:
    """One station that pours, as it is told by its gateway; what is wrong with it can be said."""

    def __init__(self, box: Box, bar: Bar) -> None:
        self.box, self.bar, self.chance, self.poured = box, bar, np.random.default_rng(3), 0

    def pour(
        self, many: int, *, meter: float = 1.0, hotter: float = 0.0, grind: float = 1.0,
        opens: float = 0.0, begin: datetime | None = None,
    ) -> None:  # fmt: skip
        """Report so many shots, a minute apart, and look."""
        events = []
        for _ in range(many):
            self.poured += 1
            at = (begin or BEGIN) + timedelta(minutes=self.poured)
            events.append(self.box.event("shot", self._shot(at, meter, hotter, grind, opens)))
        for some in range(0, many, 50):
            answer = self.box.report(*events[some : some + 50]).json()
            assert answer["refused"] == []
        look_for_causes()

    def _shot(
        self, at: datetime, meter: float, hotter: float, grind: float, opens: float
    ) -> dict[str, Any]:
        t = np.arange(0.0, 28.0, 0.5)
        dose = self.chance.normal(18.0, 0.15)
        pressure = np.minimum(9.0, 0.5 + 4.0 * t)
        held = 3.6 * grind * np.exp(self.chance.normal(0.0, 0.02)) * (dose / 18.0)
        noise = np.exp(self.chance.normal(0.0, 0.01, t.size))
        curve = held * noise * np.where(t > 14.0, 1.0 - opens, 1.0)
        trace = {
            "t": t.tolist(), "pressure": pressure.round(2).tolist(),
            "flow": (pressure / curve).round(3).tolist(),
            "temperature": (93.5 + hotter + self.chance.normal(0, 0.1, t.size)).round(2).tolist(),
        }  # fmt: skip
        kept = dose * 2.2 + self.chance.normal(0.0, 0.5)
        return {
            "slot": self.bar.slot.pk, "pulled_at": at.isoformat(), "dose_mass": f"{dose:.1f}",
            "beverage_mass": f"{76.0 - kept:.1f}", "shot_time": "28",
            "water_volume": f"{76.0 * meter:.1f}", "trace": trace,
        }  # fmt: skip


@pytest.fixture
def floor(cast: Cast, bar: Bar) -> Floor:
    """It has poured 80 shots, with nothing wrong."""
    placed = place(bar.slot, cast.head_roaster)
    Placement.objects.filter(pk=placed.pk).update(started_at=BEGIN - timedelta(days=1))
    grinder_of(bar.first, cast.owner)
    made = Floor(enrolled(cast.shop_lead, cast.site)[0], bar)
    made.pour(80)
    assert not CauseFinding.objects.exists()
    return made


WRONG = [
    ("meter", {"meter": 1.03}), ("meter", {"meter": 0.97}), ("probe", {"hotter": 1.0}),
    ("probe", {"hotter": -1.0}), ("grind", {"grind": 0.85}), ("channel", {"opens": 0.3}),
]  # fmt: skip


@pytest.mark.parametrize(("cause", "wrong"), WRONG)
def test_each_is_found_by_its_own_alone(floor: Floor, cause: str, wrong: Any) -> None:  # noqa: ANN401
    floor.pour(30, **wrong)
    finding = CauseFinding.objects.get()
    assert finding.cause == cause
    assert finding.upward is (wrong in ({"meter": 1.03}, {"hotter": 1.0}, {"opens": 0.3}))
    assert float(finding.total) > float(finding.decision) > 9
    assert finding.began_at > BEGIN + timedelta(minutes=70)
    entry = Entry.objects.filter(action="cause.found").first()
    assert entry
    assert (entry.subject_type, entry.subject_id) == ("station", floor.bar.first.pk)


def test_nothing_is_read_twice_and_nothing_new_costs_the_same(floor: Floor) -> None:
    before = list(CauseRun.objects.order_by("pk").values("read_to", "kept", "scored"))
    with CaptureQueriesContext(connection) as asked:
        assert look_for_causes() == 0
    assert list(CauseRun.objects.order_by("pk").values("read_to", "kept", "scored")) == before
    assert len(asked) <= 12


def test_one_spilt_cup_is_no_finding(floor: Floor) -> None:
    floor.pour(1, meter=1.3)
    floor.pour(20)
    assert not CauseFinding.objects.exists()


def found(floor: Floor, **wrong: Any) -> CauseFinding:  # noqa: ANN401
    """One, for that."""
    floor.pour(30, **(wrong or {"meter": 1.03}))
    return CauseFinding.objects.with_place().get()


def test_it_is_acknowledged_once_with_a_cause(floor: Floor, cast: Cast) -> None:
    finding = found(floor)
    with pytest.raises(NotPermitted):
        acknowledge(by=cast.barista, finding=finding, seen_revision=1, given="scale")
    with pytest.raises(Invalid):
        acknowledge(by=cast.shop_lead, finding=finding, seen_revision=1, given="gremlins")
    with pytest.raises(Stale):
        acknowledge(by=cast.shop_lead, finding=finding, seen_revision=2, given="scale")
    said = {"given": "scale", "note": "tared wet"}
    acknowledge(by=cast.shop_lead, finding=finding, seen_revision=1, **said)
    with pytest.raises(Refused):
        acknowledge(by=cast.shop_lead, finding=finding, seen_revision=2, given="meter")
    told = Entry.objects.filter(action="cause.acknowledged", reason="tared wet")
    assert {each.actor for each in told} == {cast.shop_lead.name}


def test_shots_as_before_clear_it_once_it_was_acknowledged(floor: Floor, cast: Cast) -> None:
    finding = found(floor)
    floor.pour(TO_CLEAR)
    acknowledge(by=cast.shop_lead, finding=finding, seen_revision=1, given="scale")
    # What was pulled before somebody did anything about it says nothing of that.
    look_for_causes()
    finding.refresh_from_db()
    assert finding.state == "acknowledged"
    acknowledged_at(finding, BEGIN + timedelta(minutes=floor.poured))
    floor.pour(TO_CLEAR, meter=1.03)
    finding.refresh_from_db()
    assert finding.state == "acknowledged"
    floor.pour(TO_CLEAR)
    finding.refresh_from_db()
    assert (finding.state, finding.evidence, finding.cleared_by) == ("cleared", "shots", None)
    assert Entry.objects.filter(action="cause.cleared").exists()
    floor.pour(30, meter=1.03)
    assert CauseFinding.objects.lasting().count() == 1


def acknowledged_at(finding: CauseFinding, at: datetime) -> None:
    """As if it had been then: days would have to pass."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "UPDATE stations_causefinding SET acknowledged_at = %s WHERE id = %s", [at, finding.pk]
        )
        cursor.execute("SET LOCAL session_replication_role = origin")


def test_a_new_meter_clears_it_and_begins_anew(floor: Floor, cast: Cast) -> None:
    finding = found(floor)
    replace_part(
        by=cast.technician, part=Part.FLOW_METER, place=Place(cast.site, station=floor.bar.first),
        reason="worn", at=datetime.now(UTC), seen=None,
    )  # fmt: skip
    look_for_causes()
    finding.refresh_from_db()
    assert (finding.state, finding.evidence, finding.cleared_by) == ("cleared", "replacement", None)
    run = CauseRun.objects.get(station=floor.bar.first, cause="meter")
    assert (run.scored, run.kept["references"], run.kept["points"]) == (0, {}, [])


def test_new_burrs_clear_the_grind(floor: Floor, cast: Cast) -> None:
    finding = found(floor, grind=0.85)
    assert finding.grinder
    with recorded(by=cast.technician, action=CAUSE_ACKNOWLEDGED):
        GrinderEvent.objects.create(
            grinder=finding.grinder, kind=EventKind.BURRS, setting=Decimal(4), reason="worn",
            by=cast.technician,
        )  # fmt: skip
    look_for_causes()
    finding.refresh_from_db()
    assert (finding.state, finding.evidence) == ("cleared", "grinder")


def test_a_new_level_takes_shots_and_a_reason(floor: Floor, cast: Cast) -> None:
    finding = found(floor)
    acknowledge(by=cast.shop_lead, finding=finding, seen_revision=1, given="basket")
    with pytest.raises(Refused, match="20 shots"):
        settle(by=cast.shop_lead, finding=finding, seen_revision=2, note="another basket")
    acknowledged_at(finding, BEGIN + timedelta(minutes=floor.poured))
    floor.pour(TO_CLEAR, meter=1.03)
    settle(by=cast.shop_lead, finding=finding, seen_revision=2, note="another basket")
    finding.refresh_from_db()
    assert (finding.state, finding.evidence) == ("cleared", "level")
    floor.pour(60, meter=1.03)
    assert not CauseFinding.objects.lasting().exists()


@pytest.mark.parametrize(
    "change",
    [
        "size = 0", "state = 'cleared'", "shots = shots + 1",
        "state = 'cleared', evidence = 'shots', evidence_words = 'x', cleared_at = now()",
        "state = 'cleared', evidence = 'calibration', evidence_id = 1, evidence_words = 'x',"
        " cleared_at = now()",
        "given = 'other'",
    ],
)  # fmt: skip
def test_the_database_holds_it_too(floor: Floor, change: str) -> None:
    finding = found(floor)
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"UPDATE stations_causefinding SET {change} WHERE id = %s", [finding.pk])
    with pytest.raises(DatabaseError), transaction.atomic():
        CauseFinding.objects.filter(pk=finding.pk).delete()


def test_it_stands_on_today_and_at_its_station_until_it_is_cleared(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    finding = finding_at(bar.first, cast.shop_lead)
    for person in (cast.shop_lead, cast.technician):
        told = signed_in(person).get(reverse("stations:today", args=[cast.site.pk]))
        assert finding.get_absolute_url() in told.content.decode()
    told = signed_in(cast.barista).get(reverse("stations:today", args=[cast.site.pk]))
    assert finding.get_absolute_url() not in told.content.decode()
    page = signed_in(cast.barista).get(reverse("stations:station", args=[bar.first.pk]))
    assert finding.get_absolute_url() in page.content.decode()
