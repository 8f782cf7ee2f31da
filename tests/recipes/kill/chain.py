"""Two bars with two thousand slots, and what must hold of them whatever was killed."""

from dataclasses import dataclass

from django.db import connection
from django.db.models import Count, F, Max, Q

from audit.capture.context import recorded
from audit.capture.models import Entry
from people.persons.actions import PERSON_ADDED
from recipes.coffees.models import RoastLot
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Machine
from stations.slots.models import Placement
from tests.bar import Bar, station
from tests.recipes.publishing.hands import check_counts, order_for, other_version, signing

SLOTS, EACH = 2000, 20


@dataclass
class Chain:
    """The equipment, and two versions that take turns in it."""

    bar: Bar
    versions: tuple[Version, Version]
    scope: Scope
    signed: int = 0
    last_entry: int = 0

    def sign(self, lot: RoastLot | None = None) -> Publication:
        """A publication of the version that is not in force, to every slot; with a lot, if any."""
        self.last_entry = Entry.objects.aggregate(last=Max("pk"))["last"]
        who, version = self.bar.cast.head_roaster, self.versions[self.signed % 2]
        self.signed += 1
        return signing(order_for(version, who, self.scope, When(lot=lot)), who)()


def build(bar: Bar) -> Chain:
    """A hundred stations of twenty slots, at two sites."""
    with recorded(by=None, action=PERSON_ADDED):
        machines = [
            Machine.objects.create(site=site, name="Long counter", machine_type=bar.full)
            for site in (bar.cast.site, bar.cast.other_site)
        ]
        made = [
            station(machine, number, "4.02", slots=EACH)
            for machine in machines
            for number in range(1, SLOTS // EACH // 2 + 1)
        ]
        versions = (bar.version, other_version(bar))
    return Chain(bar, versions, Scope(Where.STATIONS, tuple(each.pk for each in made)))


def check_whole(chain: Chain, publication: Publication) -> None:
    """Every slot placed exactly once, the counts right, and the history of it whole."""
    publication.refresh_from_db()
    assert publication.state == Publication.State.COMPLETE
    placed = Placement.objects.filter(basis="publication", basis_id=publication.pk)
    assert set(placed.values_list("state", flat=True)) == {"in_force"}
    assert placed.count() == placed.values("slot").distinct().count() == SLOTS
    assert Placement.objects.in_force().filter(slot__in=placed.values("slot")).count() == SLOTS
    check_counts(publication)
    check_succession(publication)
    check_history(publication, chain.last_entry)


def check_succession(publication: Publication) -> None:
    """What was there before has ended, each in favour of its own slot's new placement."""
    ended = Placement.objects.filter(state="ended", superseded_by__basis_id=publication.pk)
    assert not ended.exclude(slot=F("superseded_by__slot")).exists()
    first = publication.pk == Publication.objects.order_by("pk")[0].pk
    assert ended.count() == (0 if first else SLOTS)


def check_history(publication: Publication, before: int) -> None:
    """One entry for each placement's making, one for its coming into force, and no other."""
    placed = Placement.objects.filter(basis="publication", basis_id=publication.pk)
    # By their place in the history: it grows with every round, and row_id has no index.
    entries = Entry.objects.filter(pk__gt=before).order_by()
    told = (
        entries.filter(table_name="stations_placement")
        .values("row_id")
        .annotate(
            created=Count("pk", filter=Q(operation="created")),
            began=Count("pk", filter=Q(operation="changed", changes__state__1="in_force")),
            ended=Count("pk", filter=Q(operation="changed", changes__state__1="ended")),
            every=Count("pk"),
        )
    )
    new = {row["row_id"]: row for row in told if row["created"] or row["began"]}
    assert new.keys() == set(placed.values_list("pk", flat=True))
    assert {(row["created"], row["began"], row["every"]) for row in new.values()} == {(1, 1, 2)}
    old = [row for row in told if row["row_id"] not in new]
    assert all((row["ended"], row["every"]) == (1, 1) for row in old)
    signed = entries.filter(table_name="stations_placement")
    assert set(signed.values_list("signature_id", flat=True)) == {publication.signature_id}
    done = entries.filter(table_name="recipes_publication", row_id=publication.pk)
    assert done.filter(changes__state__1="complete").count() == 1


def analyse() -> None:
    """Fresh statistics, as a database in use has them."""
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
