"""Signatures bind codes and numbers: another wording moves no plan and invalidates nothing."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.test import Client

from people.signatures.models import SignedContent
from recipes.permits.plan import make_permit_plan
from recipes.planning import facts
from recipes.planning.facts import SENTENCES, SlotReason, slot_fact, stored_words, words
from recipes.publishing import run
from recipes.publishing.plan import make_plan
from recipes.publishing.timing import When
from recipes.recalibration.plan import make_retranslation_plan
from recipes.station_water import cup
from stations.equipment.models import Site
from stations.metrology import sentences
from tests.bar import Bar
from tests.publishing import EVERYWHERE, Publish, plan_of, send
from tests.recipes.calibrating import accept, measure
from tests.recipes.permits.hands import COOLER, granting
from tests.recipes.publishing.hands import at_slot, next_week
from tests.recipes.station_water.test_own_water import own_water

__all__ = ["send"]
Reword = Callable[[], None]


@pytest.fixture
def reword(monkeypatch: pytest.MonkeyPatch) -> Reword:
    """Every sentence reads otherwise from now on."""

    def do() -> None:
        for module, name in ((facts, "fact_words"), (sentences, "sentence"), (cup, "fact_words")):
            monkeypatch.setattr(module, name, lambda *_: "Autrement dit")
        for kind in SlotReason:
            monkeypatch.setitem(SENTENCES, kind, "Autrement dit aussi")
        monkeypatch.setattr(cup.Expected, "words", property(lambda _: "Autrement"))

    return do


@pytest.fixture
def hot(bar: Bar) -> Bar:
    """Water boils near 90 °C at both sites (700 hPa, IAPWS), which takes a name."""
    high_up = {"altitude": Decimal(3000), "air_pressure": Decimal(700)}  # about as ISO 2533
    Site.objects.update(**high_up, air_pressure_on="2026-01-05")
    return bar


def test_no_plan_moves_between_looking_and_signing(hot: Bar, send: Publish, reword: Reword) -> None:
    """Flags, refusals, what waits, and what is expected in the cup: all are in these plans."""
    head, technician = hot.cast.head_roaster, hot.cast.technician
    run.run(send().pk)
    granting(hot.slots[:2], head)()
    send(scope=at_slot(hot.slots[0]), when=next_week())
    ends_at = datetime.now(UTC) + timedelta(days=3)
    ids = [slot.pk for slot in hot.slots]
    own, measured = own_water(hot), measure(hot.stations[0], "40", technician)
    until = datetime.now(UTC)

    def digests() -> list[str]:
        permits = make_permit_plan(by=head, slots=ids, changes=COOLER, ends_at=ends_at)
        anew = make_retranslation_plan(by=technician, calibration=measured)
        same = plan_of(hot.version, head)
        cups = make_plan(
            by=head, version=own, scope=EVERYWHERE, when=When(), now=until, learnt_until=until
        )
        assert all(any(line.facts for line in plan.lines) for plan in (permits, anew, same))
        assert same.accepted
        assert cups.accepted
        return [permits.digest, anew.digest, same.digest, cups.digest]

    before = digests()
    reword()
    assert digests() == before


def test_no_signature_is_invalidated(hot: Bar, send: Publish, reword: Reword) -> None:
    run.run(send().pk)
    granted = granting([hot.slots[0]], hot.cast.head_roaster)()
    here = hot.stations[1]
    decided = accept(measure(here, "4.2", hot.cast.technician), hot.cast.technician)
    published = hot.version.publications.get()
    reword()
    browser = Client()
    browser.force_login(hot.cast.owner)
    for document in (published, granted, decided):
        page = browser.get(document.get_absolute_url()).content.decode()
        assert "Content still has this digest." in page
        assert "Content has changed since" not in page
    assert "Autrement dit" in browser.get(published.get_absolute_url()).content.decode()


def test_what_is_signed_holds_no_sentence(hot: Bar, send: Publish) -> None:
    run.run(send().pk)
    granting([hot.slots[0]], hot.cast.head_roaster)()
    accept(measure(hot.stations[0], "4.2", hot.cast.technician), hot.cast.technician)
    kept = [json.loads(text) for text in SignedContent.objects.values_list("canonical", flat=True)]
    assert len(kept) == 3
    for seen in kept:
        assert seen["scheme"] == 2
        assert all(set(each) == {"code", "kind", "params", "sites"} for each in seen["accepted"])
        assert not [text for text in strings(seen) if " " in text and not text.startswith("20")]


def strings(value: object) -> list[str]:
    """Every text within plain data."""
    if isinstance(value, dict):
        return [found for each in value.values() for found in strings(each)]
    if isinstance(value, list):
        return [found for each in value for found in strings(each)]
    return [value] if isinstance(value, str) else []


def test_what_is_stored_reads_as_it_did() -> None:
    fact = slot_fact(SlotReason.PUBLICATION_WAITS, publication=7)
    assert stored_words(fact.as_json()) == words(fact)
    assert words(fact).startswith("publication 7 already waits for this slot")
    assert stored_words({"kind": "gone_for_good", "params": {}}) == "gone for good"
