"""The interface tried from its own schemas, by a gateway whose requests are signed.

What a schema allows and what it does not, about slots that are there and about others: each event
is answered for, nothing crashes, and what was taken is what the schema allows.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from stations.gateways.authentication import Often
from stations.gateways.inbox import GatewayEvent
from stations.gateways.schemas import ENVELOPE, LOADED, TYPES, faults, texts
from tests.cast import Cast
from tests.services import rounds
from tests.stations.conftest import Bar, place
from tests.stations.gateways.box import enrolled

pytestmark = pytest.mark.django_db
MODES = (schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE)


def bodies(name: str) -> st.SearchStrategy[Any]:
    """What the schema of that name allows, and what it does not."""
    told = {k: v for k, v in json.loads(texts()[name]).items() if k[0] != "$"}
    body = {"required": True, "content": {"application/json": {"schema": told}}}
    post = {"requestBody": body, "responses": {"200": {"description": "Taken."}}}
    described = schemathesis.openapi.from_dict({
        "openapi": "3.1.0", "info": {"title": "Events", "version": "1"},
        "paths": {"/events": {"post": post}},
    })  # fmt: skip
    (found,) = described.get_all_operations()
    operation: Any = found.ok()  # type: ignore[union-attr]  # the schema is one
    tried = [operation.as_strategy(generation_mode=mode) for mode in MODES]
    return st.one_of(tried).map(lambda case: case.body).filter(_is_json)


def _is_json(body: object) -> bool:
    try:
        json.dumps(body, allow_nan=False)
    except (TypeError, ValueError):
        return False
    return True


def tried(strategy: st.SearchStrategy[Any], call: Callable[[Any], None]) -> None:
    """Some of them, each."""
    run = settings(
        max_examples=rounds(400, 25), database=None, deadline=None, phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    run(given(strategy)(call))()


@pytest.fixture(autouse=True)
def _as_often_as_it_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Often, "rate", "100000/min")


@pytest.mark.parametrize("kind", TYPES)
def test_every_event_is_answered_for(bar: Bar, cast: Cast, kind: str) -> None:
    box = enrolled(cast.shop_lead, cast.site)[0]
    placement = place(bar.slot, cast.head_roaster)
    now = datetime.now(UTC).isoformat()
    here = {"slot": placement.slot_id, "placement": placement.pk, "pulled_at": now,
            "shot_time": "28"}  # fmt: skip

    def call(given_: tuple[list[Any], bool]) -> None:
        told, there = given_
        sent = [
            {**data, **{k: v for k, v in here.items() if k in data}}
            if there and isinstance(data, dict)
            else data
            for data in told
        ]
        short = kind.removeprefix("portaledger.").removesuffix(".v1")
        events = [box.event(short, data) for data in sent]
        answer = box.report(*events)
        assert answer.status_code == 200, answer.content
        body = answer.json()
        refused = {each["sequence"] for each in body["refused"]}
        assert body["taken"] + len(refused) == len(events)
        assert all(each["problems"] for each in body["refused"])
        for event in events:
            assert event["sequence"] in refused or not faults(kind, event["data"])
        assert (body["missing"], body["last"]) == ([], box.sequence)

    tried(st.tuples(st.lists(bodies(kind), min_size=1, max_size=8), st.booleans()), call)
    states = list(GatewayEvent.objects.values_list("state", flat=True))
    assert len(states) == box.sequence
    # Nobody guesses the digest of what was served.
    assert set(states) == ({"refused"} if kind == LOADED else {"refused", "taken"})


def test_every_envelope_is_answered_for(bar: Bar, cast: Cast) -> None:
    box = enrolled(cast.shop_lead, cast.site)[0]

    def call(told: Any) -> None:  # noqa: ANN401
        answer = box.report(told)
        assert answer.status_code in (200, 400), answer.content
        if answer.status_code == 200:
            assert told["source"] == box.source
        else:
            assert answer.json()["problems"]

    mine = bodies(ENVELOPE).map(
        lambda told: told | {"source": box.source} if isinstance(told, dict) else told
    )
    tried(st.one_of(bodies(ENVELOPE), mine), call)
