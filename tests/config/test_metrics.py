"""/metrics and the log, for those who watch over a deployment."""

import json
import logging
import re
from datetime import timedelta
from io import StringIO

import pytest
import yaml
from django.test import Client
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families
from pytest_django.fixtures import Settings

from audit.capture.context import Channel, RequestContext, request_context
from stations.gateways.actions import revoke_gateway
from stations.gateways.models import GatewayStatus
from stations.gateways.restoring import set_gateway_policy
from tests.cast import Cast, SignedIn
from tests.stations.conftest import Bar
from tests.stations.gateways.box import enrolled
from tests.tooling.listing import ROOT
from web import metrics
from web.logs import JsonLines
from web.metrics import Figures, register_figure
from web.tasks import sign_of_life

TOKEN = {"Authorization": "Bearer for-prometheus"}


@pytest.fixture
def told(settings: Settings, cast: Cast, signed_in: SignedIn) -> dict[str, float]:
    """What Prometheus reads after somebody looked at a page: each sample's sum by its name."""
    settings.METRICS_TOKEN = "for-prometheus"
    sign_of_life()
    signed_in(cast.owner).get("/people/")
    Client().get("/nowhere/")
    answer = Client().get("/metrics", headers=TOKEN)
    assert answer.status_code == 200
    found: dict[str, float] = {}
    for family in text_string_to_metric_families(answer.content.decode()):
        for sample in family.samples:
            found[sample.name] = found.get(sample.name, 0) + sample.value
    return found


def test_requests_are_counted_and_the_deployments_figures_told(told: dict[str, float]) -> None:
    assert told["portaledger_requests_total"] >= 2
    assert told["portaledger_request_seconds_count"] >= 2
    assert told["portaledger_workers_alive"] == 1
    assert told["portaledger_publications_running"] == 0
    assert told["portaledger_slots_differing"] == 0
    assert told["portaledger_gateways_silent"] == 0
    assert told["portaledger_sealing_delay_seconds"] >= 0
    assert told["portaledger_tasks_waiting"] >= 0
    assert told["portaledger_figures_unknown"] == 0


def test_every_rule_asks_for_figures_that_are_told(told: dict[str, float]) -> None:
    rules = yaml.safe_load((ROOT / "docs" / "alerts.yml").read_text())["groups"][0]["rules"]
    named = {name for rule in rules for name in re.findall(r"portaledger_\w+", rule["expr"])}
    assert len(rules) > 8
    assert named - set(told) == set()


def test_the_dashboard_shows_figures_that_are_told(told: dict[str, float]) -> None:
    panels = json.loads((ROOT / "docs" / "dashboard.json").read_text())["panels"]
    asked = [target["expr"] for panel in panels for target in panel["targets"]]
    named = {name for expr in asked for name in re.findall(r"portaledger_\w+", expr)}
    assert len({panel["id"] for panel in panels}) == len(panels) > 10
    # Counted by workers alone, which this process is none of.
    assert named - set(told) <= {"portaledger_tasks_total"}
    assert gauges() & {*told} <= named


def gauges() -> set[str]:
    return {family.name for family in Figures().collect()}


def test_a_gateway_is_silent_by_its_sites_rule_until_it_is_revoked(cast: Cast, bar: Bar) -> None:
    def told() -> float:
        (family,) = (each for each in Figures().collect() if each.name.endswith("gateways_silent"))
        return float(family.samples[0].value)

    gateway = enrolled(cast.shop_lead, cast.site)[1]
    set_gateway_policy(
        by=cast.owner, site=cast.site, revision=1, restores=True, most=3, silent_minutes=60
    )
    GatewayStatus.objects.update(seen_at=timezone.now() - timedelta(minutes=59))
    assert told() == 0
    GatewayStatus.objects.update(seen_at=timezone.now() - timedelta(minutes=61))
    assert told() == 1
    gateway.refresh_from_db()
    revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
    assert told() == 0


@pytest.mark.django_db
def test_without_the_token_there_is_nothing(settings: Settings) -> None:
    assert Client().get("/metrics", headers=TOKEN).status_code == 404
    settings.METRICS_TOKEN = "another"
    for headers in ({}, TOKEN, {"Authorization": "Bearer "}):
        assert Client().get("/metrics", headers=headers).status_code == 404


def test_a_figure_that_fails_leaves_the_others(
    cast: Cast, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(metrics, "_figures", dict(metrics._figures))

    @register_figure("portaledger_broken", "A figure that can't be worked out")
    def broken() -> float:
        raise ArithmeticError("no")

    @register_figure("portaledger_whole", "Another")
    def whole() -> float:
        return 3.0

    names = {family.name: family for family in Figures().collect()}
    assert "portaledger_broken" not in names
    assert names["portaledger_figures_unknown"].samples[0].value == 1, "a rule can ask for that"
    assert names["portaledger_whole"].samples[0].value == 3
    assert "portaledger_broken" in caplog.text


def test_a_line_of_json_says_which_request_it_is_about() -> None:
    stream = StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    logger = logging.Logger("portaledger.try", level=logging.INFO)
    logger.addHandler(handler)
    token = request_context.set(RequestContext(Channel.PAGE, "0123456789abcdef"))
    try:
        logger.info("Placed %s", 7, extra={"told": {"view": "home", "person": 4}})
        try:
            raise ValueError("a fault")
        except ValueError:
            logger.exception("Failed")
    finally:
        request_context.reset(token)
    first, second = map(json.loads, stream.getvalue().splitlines())
    assert first["event"] == "Placed 7"
    assert first["level"] == "info"
    assert first["logger"] == "portaledger.try"
    assert first["request"] == second["request"] == "0123456789abcdef"
    assert (first["channel"], first["view"], first["person"]) == ("page", "home", 4)
    assert first["at"].endswith("Z")
    assert "ValueError: a fault" in second["exception"]
