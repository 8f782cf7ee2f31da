"""Bodies no program should send: a 4xx with a problem, never a crash, nothing half-written."""

import itertools

import pytest

from stations.equipment.models import Machine, Site, Slot, Station
from stations.slots.models import Placement, ReadBack
from tests.cast import ApiAs, Cast
from tests.stations.conftest import Bar, place

_keys = itertools.count(1)
ODD = [
    "null", "[]", "[[]]", '""', "0", "true", "{}", '{"a": {"b": []}}', "{", "", "NaN",
    '{"name": "\\ud800", "code": "\\ud800", "csv": "\\ud800", "total": "\\ud800"}',
    '{"found": {"\\ud800": "1"}, "placement": 1}',
    '{"found": {"water_volume": "\\ud800"}, "placement": 1}',
    '{"values": {"water_volume": "\\ud800\\u0000"}}', '{"values": {"\\u0000": 1}}',
    '{"values": null}', '{"found": null, "placement": null}', '{"read_backs": [null, 1]}',
    '{"total": 1e400}', '{"total": -1}', '{"total": 99999999999999999999999}',
    '{"placement": 1e5, "found": {"water_volume": {"value": 1}}}', "\xff",
    '{"name": {}, "ends_by": {}, "abilities": {}}',
    '{"name": "x", "ends_by": [null], "abilities": [null]}',
    '{"site": [], "name": [], "machine_type": []}',
    '{"csv": ["a"]}', '{"csv": "\\u0000"}', "[" * 5000,
]  # fmt: skip


@pytest.mark.parametrize("body", ODD)
def test_an_odd_body_is_a_problem(bar: Bar, cast: Cast, api_as: ApiAs, body: str) -> None:
    place(bar.slot, cast.head_roaster)
    before = [model._default_manager.count() for model in (Site, Machine, Station, Slot)]
    api = api_as(cast.head_roaster)
    slot, station = bar.slot.pk, bar.first.pk
    for address in (
        "sites/", "machines/", "stations/", "machine-types/", "equipment/import/",
        f"stations/{station}/slots/", f"slots/{slot}/read-backs/", f"slots/{slot}/set-by-hand/",
    ):  # fmt: skip
        answer = api.post(
            f"/api/v1/{address}", body.encode("latin-1"), content_type="application/json",
            headers={"Idempotency-Key": f"odd-key-{next(_keys)}"},
        )  # fmt: skip
        assert 400 <= answer.status_code < 500, (address, answer.status_code)
        assert answer["Content-Type"] == "application/problem+json"
    assert [m._default_manager.count() for m in (Site, Machine, Station, Slot)] == before
    assert (ReadBack.objects.count(), Placement.objects.count()) == (0, 1)


@pytest.mark.parametrize("name", ["site", "machine", "machine-type"])
@pytest.mark.parametrize("tag", ["", "*", '"x"', 'W/"site-1-1"', "site-1-1", "\xe9"])
def test_an_odd_tag_is_428_or_412(bar: Bar, cast: Cast, api_as: ApiAs, name: str, tag: str) -> None:
    address = {
        "site": "sites/harbour/",
        "machine": f"machines/{bar.machine.pk}/",
        "machine-type": f"machine-types/{bar.machine_type.pk}/",
    }[name]
    bodies = {
        "site": {"name": "N", "time_zone": "Europe/Lisbon", "altitude": "1"},
        "machine": {"name": "N", "machine_type": bar.machine_type.pk},
        "machine-type": {"name": "N", "ends_by": ["mass"], "abilities": []},
    }
    headers = {"If-Match": tag} if tag else {}
    answer = api_as(cast.owner).put(f"/api/v1/{address}", bodies[name], headers=headers)
    assert answer.status_code in {428, 412}
