"""Proofs and receipts as people get them, and who may."""

import json
from base64 import b64decode
from hashlib import sha256
from html import unescape

import pytest
from django.test import Client

from audit.ledger.checkpoint import read_receipt
from audit.ledger.merkle import leaf_hash
from audit.ledger.proof import extends, includes
from audit.sealing.models import Checkpoint
from tests.audit.sealed import body, entry_at, last_checkpoint, sealed_ids, unguarded
from tests.cast import Cast, SignedIn

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables")]


def test_an_entry_is_proven(owner: Client) -> None:
    for pk in sealed_ids():
        told = owner.get(f"/api/v1/ledger/entries/{pk}/proof/").json()
        assert sha256(b"\0" + told["payload"].encode()).digest() == b64decode(told["leaf"])
        leaf_, root, *proof = map(b64decode, [told["leaf"], told["root"], *told["proof"]])
        assert includes(leaf=leaf_, index=told["index"], size=told["size"], root=root, proof=proof)
        receipt = owner.get(f"/history/{pk}/receipt/").content.decode()
        assert receipt == told["receipt"]
        assert read_receipt(receipt).covers(leaf_hash(told["payload"].encode()))


def test_two_states_are_proven_consistent(owner: Client) -> None:
    told = owner.get("/api/v1/ledger/checkpoints/").json()["results"]
    assert [one["note"] for one in told] == list(
        Checkpoint.objects.order_by("-id").values_list("note", flat=True)
    )
    new, old = told[0], told[-1]
    answer = owner.get(f"/api/v1/ledger/consistency/?from={old['size']}&to={new['size']}").json()
    then, now, *proof = map(b64decode, [old["root"], new["root"], *answer["proof"]])
    assert extends(old=old["size"], new=new["size"], old_root=then, new_root=now, proof=proof)


@pytest.mark.parametrize(
    "query",
    [
        *("", "?from=1", "?from=9&to=3", "?from=1&to=99999", "?from=x&to=2", "?from=-1&to=2"),
        *("?from=1&to=²", f"?from=0&to={'9' * 400}", f"?from=0&to={'0' * 20}{'9' * 4400}"),
    ],
)
def test_what_can_not_be_proven_is_said(owner: Client, query: str) -> None:
    assert owner.get(f"/api/v1/ledger/consistency/{query}").status_code == 400
    assert owner.get(f"/api/v1/ledger/entries/{2**62}/proof/").status_code == 404


def test_pages_show_the_seal(owner: Client) -> None:
    pk = entry_at(2)
    page = owner.get(f"/history/{pk}/").content.decode()
    assert "Entry no. 3 of the" in page
    page = owner.get("/history/ledger/").content.decode()
    assert last_checkpoint().note in unescape(page)
    assert "Every entry is sealed" in page
    assert owner.get("/history/ledger/checkpoint/").content.decode() == last_checkpoint().note


def test_others_get_nothing(owner: Client, cast: Cast, signed_in: SignedIn) -> None:
    pk = entry_at(2)
    addresses = [
        *(f"/history/{pk}/receipt/", "/history/ledger/checkpoint/", "/history/ledger/bundle/"),
        f"/api/v1/ledger/entries/{pk}/proof/",
        *(f"/api/v1/history/{kind}/" for kind in ("json-lines", "csv", "bundle")),
    ]
    for person in (cast.barista, cast.shop_lead, cast.technician, cast.head_roaster):
        browser = signed_in(person)
        assert {browser.get(address).status_code for address in addresses} == {403}
    assert {Client().get(address).status_code for address in addresses} == {302, 401}


def test_an_owner_of_one_site_sees_proofs_of_that_site_alone(owner: Client, cast: Cast) -> None:
    cast.owner.assignments.update(site=cast.site)
    here, there = sealed_ids()[:2]
    unguarded("UPDATE audit_entry SET site_id = %s WHERE id = %s", cast.site.pk, here)
    assert owner.get(f"/history/{here}/receipt/").status_code == 200
    assert owner.get(f"/history/{there}/receipt/").status_code == 404
    assert owner.get(f"/api/v1/ledger/entries/{there}/proof/").status_code == 404
    assert owner.get("/history/ledger/bundle/").status_code == 403
    assert owner.get("/api/v1/history/bundle/").status_code == 403
    exported = body(owner.get("/history/export/json-lines/")).splitlines()
    assert {json.loads(line)["site_id"] for line in exported} <= {cast.site.pk, None}
