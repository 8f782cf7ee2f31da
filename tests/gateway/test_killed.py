"""Gateway and server killed at random moments, one or both: nothing is lost, nothing doubled."""

import random
import time
from contextlib import ExitStack
from functools import partial
from pathlib import Path

import pytest
import redis

from stations.gateways.inbox import GatewayEvent
from stations.gateways.models import Gateway
from stations.shots.models import CheckShot
from tests.cast import Cast
from tests.gateway.boxes import Box, until
from tests.gateway.test_nothing_lost import expected
from tests.gateway.test_with_the_server import MACHINE, enrolled, told
from tests.gateway.web_process import web
from tests.recipes.kill.worker import broker_url
from tests.services import rounds
from tests.stations.conftest import Bar, bar, place

__all__ = ["bar"]
pytestmark = pytest.mark.django_db(transaction=True)


def shots(gateway: Gateway) -> int:
    return GatewayEvent.objects.filter(gateway=gateway, type="portaledger.shot.v1").count()


def more(gateway: Gateway, than: int) -> bool:
    return shots(gateway) > than


def test_gateway_and_server_are_killed(tmp_path: Path, cast: Cast, bar: Bar) -> None:
    placed = place(bar.slot, cast.head_roaster)
    chance = random.Random(5)
    counts = redis.Redis.from_url(broker_url())
    with web(tmp_path / "web.log") as server, ExitStack() as exits:
        box = Box(tmp_path, server.address)
        box.write_map(machine=MACHINE, slots="1", rate=36_000)
        gateway = enrolled(box, cast)
        running = exits.enter_context(box.running())
        for _ in range(rounds(200, 2)):
            counts.flushdb()  # how often a gateway may ask in a minute is not what this is about
            server.start()
            if running.poll() is not None:
                running = exits.enter_context(box.running())
            until(partial(more, gateway, shots(gateway)), seconds=120)
            time.sleep(chance.uniform(0.0, 0.5))
            victims = chance.choice(["gateway", "server", "both"])
            if victims != "server":
                running.kill()
                running.wait()
            if victims != "gateway":
                server.kill()
        counts.flushdb()
        server.start()
        if running.poll() is not None:
            exits.enter_context(box.running())
        until(partial(more, gateway, shots(gateway) + 20), seconds=120)
    moments = [each["pulled_at"] for each in told(gateway, "shot")]
    assert moments == expected(box, len(moments), MACHINE)
    numbers = GatewayEvent.objects.filter(gateway=gateway).values_list("sequence", flat=True)
    assert sorted(numbers) == list(range(1, len(numbers) + 1))
    assert CheckShot.objects.filter(placement=placed).count() == len(moments)
    assert not GatewayEvent.objects.exclude(state="taken").exists()
    counts.flushdb()
    counts.close()
