"""A publication with a lot comes into force at each site when that site opens the lot."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time

import pytest
from django.db import Error, transaction

from audit.errors import Invalid, Refused
from recipes.coffees.models import Coffee, RoastLot
from recipes.publishing import run
from recipes.publishing.actions import cancel, resume, stop
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.opening import start_waiting
from recipes.publishing.timing import When
from stations.lots.actions import close_lot
from stations.slots.models import Placement
from tests.attacks import sql
from tests.bar import Bar
from tests.publishing import Publish, plan_of
from tests.recipes.permits.hands import granting
from tests.recipes.publishing.hands import check_counts, other_version
from tests.recipes.publishing.lots import lot_of, opening, station_at, with_lot


@dataclass(frozen=True)
class Waiting:
    """Signed for every slot of both sites, with a lot that nobody has opened."""

    bar: Bar
    publication: Publication
    lot: RoastLot

    def open_at_harbour(self, number: int = 0) -> None:
        """The harbour's barista opens the bag."""
        opening(self.lot, station_at(self.bar.cast.site, number), self.bar.cast.barista)

    def placed(self) -> dict[str, int]:
        """Slots placed, by site."""
        rows = PublicationSite.objects.filter(publication=self.publication)
        return {each.site.name: each.placed for each in rows.select_related("site")}

    def seen(self) -> Publication:
        return Publication.objects.get(pk=self.publication.pk)


@pytest.fixture
def waiting(bar: Bar, send: Publish) -> Waiting:
    when = with_lot(bar)
    publication = send(when=when)
    run.run(publication.pk)
    assert when.lot
    return Waiting(bar, publication, when.lot)


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """What the workers are told of."""
    heard: list[int] = []
    monkeypatch.setattr("recipes.publishing.opening.start", heard.append)
    return heard


def test_it_waits_and_each_site_begins_by_itself(waiting: Waiting) -> None:
    assert waiting.placed() == {"Harbour": 0, "Upland": 0}
    assert run.unfinished() == []
    waiting.open_at_harbour()
    assert run.unfinished() == [waiting.publication.pk]
    run.run(waiting.publication.pk)
    assert waiting.placed() == {"Harbour": 6, "Upland": 0}
    assert waiting.seen().state == "running"
    assert run.unfinished() == []
    lead = waiting.bar.cast.other_lead
    opening(waiting.lot, station_at(waiting.bar.cast.other_site), lead)
    run.run(waiting.publication.pk)
    assert waiting.seen().state == "complete"
    check_counts(waiting.publication)


def test_the_worker_is_told_once_the_bag_is_open(
    waiting: Waiting, told: list[int], django_capture_on_commit_callbacks: Callable[..., object]
) -> None:
    other = lot_of(waiting.bar.version, waiting.bar.cast.head_roaster, "R2")
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        opening(other, station_at(waiting.bar.cast.site), waiting.bar.cast.barista)
    assert told == []
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[attr-defined]
        waiting.open_at_harbour()
    assert told == [waiting.publication.pk]


def test_the_same_lot_again_begins_nothing_anew(waiting: Waiting, told: list[int]) -> None:
    waiting.open_at_harbour()
    run.run(waiting.publication.pk)
    waiting.open_at_harbour(1)
    start_waiting(waiting.lot.pk, waiting.bar.cast.site.pk)
    assert told == []
    assert run.run(waiting.publication.pk) == 0


def test_a_bag_opened_before_counts_at_once_even_if_finished(bar: Bar, send: Publish) -> None:
    when = with_lot(bar)
    assert when.lot
    bag = opening(when.lot, station_at(bar.cast.site), bar.cast.barista)
    close_lot(by=bar.cast.barista, opening=bag, seen_open=True)
    due = plan_of(bar.version, bar.cast.head_roaster, when=when).due
    here, there = due[bar.cast.site.pk], due[bar.cast.other_site.pk]
    assert (here.waits, there.waits) == (False, True)
    assert here.note.startswith("lot R1 was opened there on ")
    assert there.note == "waits for lot R1"
    publication = send(when=when)
    run.run(publication.pk)
    assert Placement.objects.in_force().count() == 6


def test_an_opening_while_somebody_reads_the_plan_moves_nothing(bar: Bar) -> None:
    when = with_lot(bar)
    before = plan_of(bar.version, bar.cast.head_roaster, when=when)
    assert when.lot
    opening(when.lot, station_at(bar.cast.site), bar.cast.barista)
    after = plan_of(bar.version, bar.cast.head_roaster, when=when)
    assert before.digest == after.digest
    assert before.content()["lot"] == when.lot.pk


def test_plans_without_a_lot_say_nothing_of_lots(bar: Bar) -> None:
    """What was signed before there were lots keeps its digest."""
    assert "lot" not in plan_of(bar.version, bar.cast.head_roaster).content()


def test_a_lot_of_another_coffee_or_beside_a_time_is_refused(bar: Bar) -> None:
    decaf = Coffee.objects.create(name="Decaf", rest_from=5, rest_to=21)
    lot = RoastLot.objects.create(
        coffee=decaf, code="D1", roasted_on=date(2026, 1, 1), rest_from=5, rest_to=21
    )
    with pytest.raises(Invalid, match="a roast lot of Morning blend") as raised:
        plan_of(bar.version, bar.cast.head_roaster, when=When(lot=lot))
    assert raised.value.field == "lot"
    with pytest.raises(Invalid, match="either a lot"):
        When(date(2026, 12, 1), time(6), lot)


def test_stopped_it_places_nothing_until_it_is_resumed(waiting: Waiting, told: list[int]) -> None:
    head, seen = waiting.bar.cast.head_roaster, waiting.seen()
    stop(by=head, publication=seen, revision=seen.revision, reason="Wait")
    waiting.open_at_harbour()
    start_waiting(waiting.lot.pk, waiting.bar.cast.site.pk)
    assert (told, run.unfinished(), run.run(seen.pk)) == ([], [], 0)
    resume(by=head, publication=seen, revision=seen.revision, reason="Go on")
    assert run.unfinished() == [seen.pk]
    run.run(seen.pk)
    assert waiting.placed()["Harbour"] == 6


def test_cancelled_an_opening_places_nothing(waiting: Waiting, told: list[int]) -> None:
    """And where it was opened before, what is placed stays."""
    head = waiting.bar.cast.head_roaster
    waiting.open_at_harbour()
    run.run(waiting.publication.pk)
    seen = waiting.seen()
    stop(by=head, publication=seen, revision=seen.revision, reason="Sold out")
    assert cancel(by=head, publication=seen, revision=seen.revision, reason="Sold out") == 2
    opening(waiting.lot, station_at(waiting.bar.cast.other_site), waiting.bar.cast.other_lead)
    start_waiting(waiting.lot.pk, waiting.bar.cast.other_site.pk)
    assert (told, run.run(seen.pk)) == ([], 0)
    assert waiting.placed() == {"Harbour": 6, "Upland": 0}


def test_a_permit_is_no_hindrance_while_it_waits(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    when = with_lot(bar)
    publication, slot = send(other_version(bar), when=when), bar.slots[0]
    granting([slot], bar.cast.head_roaster)()
    assert when.lot
    opening(when.lot, station_at(bar.cast.site), bar.cast.barista)
    with pytest.raises(Refused, match="is about to take over"):
        granting([bar.slots[1]], bar.cast.head_roaster)()
    run.run(publication.pk)
    assert Placement.objects.in_force().get(slot=slot).basis_id == publication.pk


ATTACKS = {
    "placed before": "UPDATE stations_placement SET state = 'in_force', started_at = now()"
    " WHERE basis = 'publication' AND basis_id = %s",
    "another lot": "UPDATE recipes_publication SET lot_id = NULL WHERE id = %s",
    "complete": "UPDATE recipes_publication SET state = 'complete', completed_at = now()"
    " WHERE id = %s",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_the_database_keeps_it_too(waiting: Waiting, attack: str) -> None:
    with pytest.raises(Error), transaction.atomic():
        sql(ATTACKS[attack], waiting.publication.pk)()


def test_the_database_knows_coffees_too(waiting: Waiting) -> None:
    decaf = Coffee.objects.create(name="Decaf", rest_from=5, rest_to=21)
    lot = RoastLot.objects.create(
        coffee=decaf, code="D1", roasted_on=date(2026, 1, 1), rest_from=5, rest_to=21
    )
    values = {
        each.attname: getattr(waiting.publication, each.attname)
        for each in Publication._meta.concrete_fields
        if each.attname not in {"id", "signature_id"}
    }
    with pytest.raises(Error, match="a lot of the coffee"), transaction.atomic():
        Publication.objects.create(**{**values, "lot_id": lot.pk})
    with pytest.raises(Error, match="publication_with_a_lot_or_at_a_time"), transaction.atomic():
        Publication.objects.create(
            **{**values, "local_date": date(2026, 12, 1), "local_time": time(6)}
        )
