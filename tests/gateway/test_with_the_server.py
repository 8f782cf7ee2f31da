"""The reference gateway and the real server, over real HTTP: what one says, the other takes.

The gateway is a process of its own; the server is the whole product behind a socket.
"""

from pathlib import Path
from typing import Any

import pytest
from pytest_django.live_server_helper import LiveServer

from stations.gateways.actions import add_gateway, revoke_gateway
from stations.gateways.differences import Difference, GatewayPolicy
from stations.gateways.inbox import GatewayEvent
from stations.gateways.models import Gateway
from stations.gateways.restoring import set_gateway_policy
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from tests.cast import Cast
from tests.gateway.bad_line import HAPPENINGS, BadLine, bad_line
from tests.gateway.boxes import Box, until
from tests.gateway.test_nothing_lost import expected
from tests.services import rounds
from tests.stations.conftest import VALUES, Bar, bar, place

__all__ = ["bar"]
pytestmark = pytest.mark.django_db(transaction=True)
MACHINE = "Left machine"
OTHER = {**VALUES, "water_volume": {"value": "300", "unit": "{pulse}"}}


@pytest.fixture
def often(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test asks more often in a minute than a gateway does."""
    for name in ("Often", "Tries"):
        monkeypatch.setattr(f"stations.gateways.authentication.{name}.rate", "1000000/min")


def enrolled(box: Box, cast: Cast) -> Gateway:
    """A gateway that somebody made a code for, and the box that used it: over any line."""
    for attempt in range(30):
        gateway, code = add_gateway(by=cast.shop_lead, site=cast.site, name=f"Box {attempt}")
        if box.enrol(code).returncode == 0:
            gateway.refresh_from_db()
            return gateway
    raise AssertionError("not enrolled")


def told(gateway: Gateway, kind: str) -> list[dict[str, Any]]:
    """The data of every event of a kind, by number."""
    rows = GatewayEvent.objects.filter(gateway=gateway, type=f"portaledger.{kind}.v1")
    return [row.data or {} for row in rows.order_by("sequence")]


def test_a_day_enrol_fetch_load_read_back_shots(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    box = Box(tmp_path, live_server.url)
    box.write_map(machine=MACHINE, slots="1", rate=3600)
    gateway = enrolled(box, cast)
    with box.running():
        until(lambda: verdict(placed) == "matches")
        until(lambda: CheckShot.objects.filter(placement=placed).count() >= 3)
        until(lambda: bool(told(gateway, "heartbeat")))
        second = place(bar.slot, cast.head_roaster, OTHER)
        until(lambda: verdict(second) == "matches")
    assert not GatewayEvent.objects.exclude(state="taken").exists()
    assert [each["placement"] for each in told(gateway, "loaded")] == [placed.pk, second.pk]


def test_what_somebody_saves_over_a_slot_is_found(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    box = Box(tmp_path, live_server.url)
    box.write_map(machine=MACHINE, slots="1", rate=1800, habits="saves_over = 1.0")
    enrolled(box, cast)
    with box.running():
        until(lambda: verdict(placed) == "differs")
    placed.refresh_from_db()
    assert placed.verdict == "differs"


def test_what_is_saved_over_again_and_again_is_restored_as_often_as_the_policy_says(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    revision = GatewayPolicy.at(cast.site.pk).revision
    set_gateway_policy(
        by=cast.owner, site=cast.site, revision=revision, restores=True, most=2, silent_minutes=10
    )
    box = Box(tmp_path, live_server.url)
    box.write_map(machine=MACHINE, slots="1", rate=1800, habits="saves_over = 1.0")
    gateway = enrolled(box, cast)
    with box.running():
        until(lambda: Difference.objects.exclude(stopped_at=None).exists())
    loaded = [each["placement"] for each in told(gateway, "loaded")]
    assert loaded == [placed.pk] * 3


def test_a_revoked_gateway_ends(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    box = Box(tmp_path, live_server.url)
    box.write_map(machine=MACHINE)
    gateway = enrolled(box, cast)
    with box.running() as process:
        until(lambda: bool(told(gateway, "heartbeat")))
        gateway.refresh_from_db()
        revoke_gateway(by=cast.shop_lead, gateway=gateway, revision=gateway.revision)
        assert process.wait(timeout=30) == 3


def test_a_key_is_rotated(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    box = Box(tmp_path, live_server.url)
    box.write_map(machine=MACHINE)
    gateway = enrolled(box, cast)
    done = box.call("rotate-key", "--state", str(box.state))
    assert done.returncode == 0, done.stderr
    assert gateway.keys.filter(ended_at=None).count() == 1
    with box.running():
        until(lambda: bool(told(gateway, "heartbeat")))


def test_over_a_bad_line_nothing_is_lost_and_nothing_doubled(
    tmp_path: Path, live_server: LiveServer, often: None, cast: Cast, bar: Bar
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    line = BadLine(live_server.url, share=0.4)
    many = rounds(10_000, 300)
    with bad_line(line) as near:
        box = Box(tmp_path, near)
        box.write_map(machine=MACHINE, slots="1", rate=rounds(180_000, 36_000))
        gateway = enrolled(box, cast)
        with box.running():
            until(lambda: len(told(gateway, "shot")) >= many, seconds=rounds(3000, 150))
            until(lambda: set(HAPPENINGS) <= set(line.done), seconds=60)
    moments = [each["pulled_at"] for each in told(gateway, "shot")]
    assert moments == expected(box, len(moments), MACHINE)
    numbers = list(
        GatewayEvent.objects.filter(gateway=gateway)
        .order_by("sequence")
        .values_list("sequence", flat=True)
    )
    assert numbers == list(range(1, len(numbers) + 1))
    logged = CheckShot.objects.filter(placement=placed)
    weighed = [each for each in told(gateway, "shot") if "dose_mass" in each]
    assert logged.count() == len(weighed)
    assert not GatewayEvent.objects.exclude(state="taken").exists()


def verdict(placement: Placement) -> str:
    return Placement.objects.get(pk=placement.pk).verdict
