"""The device in the history: carried by what entries always had, so that old ones stay as is."""

import csv
import io
import json

import pytest
from django.db import connection
from django.test import Client

from audit.capture.context import recorded
from audit.capture.devices import device_of, request_id_at
from audit.capture.models import Entry
from audit.ledger.canonical import read_object
from audit.reading.keyset import DEVICE_SQL, Range, walk
from audit.reading.queries import HistoryFilter, page_of
from audit.sealing.payload import FIELDS, payload_by_id
from people.persons.actions import PERSON_CHANGED
from tests.cast import ApiAs, Cast, SignedIn
from tests.people.tablets.bench import at_work, row_of

pytestmark = pytest.mark.django_db


def test_entries_are_made_of_what_they_were_made_of(cast: Cast) -> None:
    """The columns that are sealed: one more would change the bytes of every entry there is."""
    assert set(FIELDS) == {
        "id", "at", "txid", "db_role", "actor_id", "actor", "role", "road", "client_addr",
        "request_id", "action", "operation", "table_name", "row_id", "subject_type",
        "subject_id", "subject", "site_id", "parameter", "unit", "changes", "reason",
        "signature_id",
    }  # fmt: skip
    at_work(cast)
    entry = Entry.objects.filter(action="sign_in.begun").latest("id")
    sealed = read_object(payload_by_id(entry.pk) or b"{}")
    assert device_of(sealed["request_id"]) == row_of().pk


def test_nobody_claims_a_device(cast: Cast, signed_in: SignedIn) -> None:
    claimed = request_id_at(1)
    answer = signed_in(cast.owner).get("/board/", headers={"X-Request-ID": claimed})
    assert answer["X-Request-ID"] != claimed
    assert device_of(answer["X-Request-ID"]) is None
    tablet = at_work(cast)
    answer = tablet.get("/board/", headers={"X-Request-ID": claimed})
    assert device_of(answer["X-Request-ID"]) == row_of().pk


@pytest.mark.parametrize(
    "text", ["", "device-", "device-x-1", "device-1", "adevice-1-2", "load_demo"]
)
def test_what_names_no_device(text: str) -> None:
    assert device_of(text) is None


def test_the_filter_and_the_exports(cast: Cast, signed_in: SignedIn, api_as: ApiAs) -> None:
    tablet = at_work(cast)
    with recorded(by=cast.owner, action=PERSON_CHANGED):
        cast.barista.name = "Barista now"
        cast.barista.save(update_fields=["name"])
    tablet.post("/tablet/leave/")
    number = row_of().pk
    owner = signed_in(cast.owner)
    at_it = [e.pk for e in Entry.objects.order_by("-id") if device_of(e.request_id) == number]
    assert at_it
    page = owner.get("/history/", {"device": "Counter left"})
    assert [row.entry.pk for row in page.context["rows"]] == at_it
    suggested = owner.get(
        "/history/", {"device": "Coun"}, headers={"HX-Request": "true", "HX-Target": "device_names"}
    )
    assert "Counter left" in suggested.content.decode()
    told = api_as(cast.owner).get(f"/api/v1/history/?device={number}").json()["results"]
    assert [(each["id"], each["device"]) for each in told] == [(pk, number) for pk in at_it]
    table = b"".join(owner.get("/history/export/csv/", {"device": number})).decode()
    rows = list(csv.DictReader(io.StringIO(table)))
    assert [(int(row["id"]), row["device"]) for row in rows] == [(p, "Counter left") for p in at_it]
    lines = b"".join(owner.get("/history/export/json-lines/", {"device": number})).splitlines()
    assert [json.loads(line)["id"] for line in lines] == at_it
    assert Client().get("/history/", {"device": number}).status_code == 302


def test_the_filter_walks_its_own_index(cast: Cast) -> None:
    at_work(cast)
    wanted = HistoryFilter(device=str(row_of().pk))
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
    asked = walk(Entry.objects.all(), [DEVICE_SQL], [wanted.device], Range(0, 2**62), newest=True)
    plan = asked[:50].explain()
    assert "entry_device" in plan or "substring" in plan.lower()
    assert "Sort" not in plan
    assert page_of(wanted, None, size=1).entries
