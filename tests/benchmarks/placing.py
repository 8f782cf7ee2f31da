"""Placing a version in every slot of a chain, beside the bare INSERT…SELECT of the same rows.

Every way runs in a transaction with its deferred checks brought forward, and is rolled back, so
that all start from the same tables. The limit writes equal rows (control settings, placements
and history entries) into copies of the tables with the same indexes, checks and foreign keys.
"""

from collections.abc import Callable
from datetime import UTC, datetime

from django.db import connection, transaction

from audit.capture.context import recorded
from people.persons.verbs import Role
from people.signatures.models import Meaning, Signature
from recipes.publishing.history import PUBLICATION_SIGNED
from recipes.publishing.plan import PublicationPlan, make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.translation.translating import title_of
from stations.slots.models import ControlSettings, Placement
from stations.slots.placing import Entitlement, StationSettings, schedule
from tests.benchmarks.chain import Chain
from tests.benchmarks.table import Measurement, medians, seconds
from tests.stations.conftest import a_publication

LOOP = 1000  # slots of the ORM loop; the whole is extrapolated
TABLES = ("stations_controlsettings", "stations_placement", "audit_entry")


class UndoneError(Exception):
    """Ends a transaction that is only measured."""


def undone(task: Callable[[], object]) -> Callable[[], None]:
    """The task in a transaction that checks everything and leaves nothing."""

    def run() -> None:
        try:
            with transaction.atomic():
                task()
                with connection.cursor() as cursor:
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                raise UndoneError
        except UndoneError:
            pass

    return run


class Ways:
    """The same rows by four ways."""

    def __init__(self, chain: Chain, plan: PublicationPlan) -> None:
        self.chain, self.plan = chain, plan
        with transaction.atomic():
            self.publication = a_publication(chain.cast.head_roaster)
        title, digest = title_of(plan.version), plan.version.content_digest
        self.settings = [
            StationSettings(each.station_id, each.site_id, title, digest, each.values)
            for each in plan.stations.values()
        ]
        self.slots = [line.slot.pk for line in plan.to_place]
        self.due = {pk: due.at for pk, due in plan.due.items()}

    def _recorded(self, write: Callable[[], object]) -> None:
        who = self.chain.cast.head_roaster
        with recorded(by=who, action=PUBLICATION_SIGNED, reason="New crop") as recording:
            # Placements are only taken together with their signature.
            self.signature = Signature.objects.create(
                user=who,
                name=who.name,
                role=Role.HEAD_ROASTER,
                meaning=Meaning.PUBLISHED,
                digest="0" * 64,
                subject_type="publication",
                subject_id=self.publication,
            )
            recording.signed(self.signature.pk)
            write()

    def ours(self) -> None:
        """What signing a publication does."""
        self._recorded(
            lambda: schedule(
                entitlement=Entitlement(
                    "publication", self.publication, Placement.Manner.TAKES_OVER, self.signature
                ),
                settings=self.settings,
                slots=self.slots,
                due=self.due,
            )
        )

    def _rows(self) -> tuple[list[ControlSettings], list[Placement]]:
        """Objects for the ORM; placements point at unsaved settings."""
        settings = {
            each.station_id: ControlSettings(
                station_id=each.station_id,
                title=each.title,
                content_digest=each.content_digest,
                values=each.values,
            )
            for each in self.settings
        }
        placements = [
            Placement(
                slot_id=line.slot.pk,
                site_id=line.slot.site_id,
                settings=settings[line.slot.station_id],
                basis="publication",
                basis_id=self.publication,
                manner=Placement.Manner.TAKES_OVER,
                signature=self.signature,
                due_at=self.due[line.slot.site_id],
            )
            for line in self.plan.to_place
        ]
        return list(settings.values()), placements

    def bulk_create(self) -> None:
        """Django's own way for many rows."""

        def write() -> None:
            settings, placements = self._rows()
            ControlSettings.objects.bulk_create(settings, batch_size=2000)
            for placement in placements:
                placement.settings_id = placement.settings.pk
            Placement.objects.bulk_create(placements, batch_size=2000)

        self._recorded(write)

    def loop(self) -> None:
        """One save() a row, for the first thousand slots."""

        def write() -> None:
            placements = self._rows()[1][:LOOP]
            for placement in placements:
                if placement.settings.pk is None:
                    placement.settings.save()
                placement.settings_id = placement.settings.pk
                placement.save()

        self._recorded(write)

    def copies(self) -> None:
        """Write the rows once for good, and make empty copies of their tables."""
        with connection.cursor() as cursor:
            cursor.execute("SELECT coalesce(max(id), 0) FROM audit_entry")
            first = cursor.fetchone()[0]
            with transaction.atomic():
                self.ours()
            for table in TABLES:
                cursor.execute(f"CREATE TABLE source_{table} AS TABLE {table}")
                cursor.execute(f"CREATE TABLE limit_{table} (LIKE {table} INCLUDING ALL)")
                cursor.execute(FOREIGN_KEYS, [table])
                for (statement,) in cursor.fetchall():
                    cursor.execute(statement)
            cursor.execute("DELETE FROM source_audit_entry WHERE id <= %s", [first])
            cursor.execute("ANALYZE")

    def limit(self) -> None:
        """The same rows, server-side, with nothing around them."""
        with connection.cursor() as cursor:
            for table in TABLES:
                cursor.execute(
                    f"INSERT INTO limit_{table} OVERRIDING SYSTEM VALUE"
                    f" SELECT * FROM source_{table}"
                )


# The foreign keys of a table as statements for its copy; those among the copies stay with them.
FOREIGN_KEYS = """
SELECT format('ALTER TABLE limit_%%s ADD %%s', conrelid::regclass,
    replace(pg_get_constraintdef(oid), 'REFERENCES stations_controlsettings',
        'REFERENCES limit_stations_controlsettings'))
FROM pg_constraint WHERE contype = 'f' AND conrelid = %s::regclass
    AND confrelid <> conrelid
"""


def rows(chain: Chain) -> list[Measurement]:
    """The placing lines of the table."""
    who = chain.cast.head_roaster
    plan = make_plan(
        version=chain.version, scope=Scope(Where.ALL), when=When(), by=who, now=datetime.now(UTC)
    )
    ways = Ways(chain, plan)
    ours_first = seconds(undone(ways.ours))  # warms caches; not counted
    assert ours_first > 0
    loop = seconds(undone(ways.loop)) * chain.slots / LOOP
    bulk, ours = medians(undone(ways.bulk_create), undone(ways.ours))
    ways.copies()
    (limit,) = medians(undone(ways.limit))
    name = f"place a version in {chain.slots:,} slots"
    peers = {"bulk_create": ours / bulk, "ORM loop (extrapolated)": ours / loop}
    return [Measurement(name, chain.slots / ours, "slots/s", ours / limit, peers)]
