"""Making a publication's placements due, batch by batch, by any number of workers at once.

Every batch is a transaction of its own. A worker, the web server or the database may be killed
between any two lines: what committed stands, the rest is still scheduled, and the next sweep or
worker takes it from there. ``PublicationSite.placed`` moves in the same transaction as the
placements it counts.
"""

from collections import Counter

from celery import current_app
from django.db import connection
from django.db.models import F, Sum
from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.errors import Subject
from audit.quick import quick
from recipes.planning.plan import PUBLICATION
from recipes.publishing import history
from recipes.publishing.models import Publication, PublicationSite
from stations.lots.models import LotOpening
from stations.slots.placing import bring_into_force

BATCH = 1000
UNDER_WAY = 5.0  # seconds after a batch, until whoever placed it is taken for dead

COUNT_PLACED = """
UPDATE recipes_publicationsite AS s SET placed = s.placed + done.placed
FROM unnest(%s::bigint[], %s::int[]) AS done (site_id, placed)
WHERE s.publication_id = %s AND s.site_id = done.site_id
"""


def start(publication_id: int) -> None:
    """Hand a publication to the workers, by name since their module imports this package."""
    current_app.send_task("recipes.tasks.run_publication", [publication_id])


def run(publication_id: int) -> int:
    """Place everything of a publication that is due; returns how many slots this call placed."""
    placed = 0
    quick.set(_mark(publication_id), 1, UNDER_WAY)
    while done := place_batch(publication_id):
        placed += done
        quick.set(_mark(publication_id), 1, UNDER_WAY)
    complete(publication_id)
    quick.delete(_mark(publication_id))
    return placed


def under_way(publication_id: int) -> bool:
    """Whether a worker placed some of it in the last seconds, and so needs no other's help."""
    return quick.get(_mark(publication_id)) is not None


def _mark(publication_id: int) -> str:
    return f"publication:under-way:{publication_id}"


def place_batch(publication_id: int, at_most: int = BATCH) -> int:
    """Place one batch, unless the publication has been stopped; returns how many slots."""
    publication = Publication.objects.select_related("author").get(pk=publication_id)
    with recorded(
        by=publication.author,
        action=history.PUBLICATION_RUN,
        reason=publication.reason,
        signature_id=publication.signature_id,
        subject=Subject("publication", publication_id, str(publication)),
    ):
        if not _still_running(publication_id):
            return 0
        done = bring_into_force(
            basis=PUBLICATION.basis, basis_id=publication_id, at_most=at_most,
            sites=_opened(publication),
        )  # fmt: skip
        if done:
            _count(publication_id, done)
        return done.total()


def _opened(publication: Publication) -> list[int] | None:
    """Of one that waits for a lot, the sites that have opened it; None of any other."""
    if publication.lot_id is None:
        return None
    bags = LotOpening.objects.filter(lot_id=publication.lot_id)
    return sorted(set(bags.values_list("site_id", flat=True)))


def _count(publication_id: int, done: Counter[int]) -> None:
    """Site by site in one order, so that workers on the same sites can't block each other."""
    sites = sorted(done)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT 1 FROM recipes_publicationsite WHERE publication_id = %s AND site_id = ANY(%s)"
            " ORDER BY id FOR NO KEY UPDATE",
            [publication_id, sites],
        )
        cursor.execute(COUNT_PLACED, [sites, [done[site] for site in sites], publication_id])


def _still_running(publication_id: int) -> bool:
    """Whether nobody has stopped it; a stop waits for the batch under way, the next sees it."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT state = 'running' FROM recipes_publication WHERE id = %s FOR SHARE",
            [publication_id],
        )
        return bool(cursor.fetchone()[0])


def complete(publication_id: int) -> bool:
    """Mark a running publication complete once nothing is left; whether this call did."""
    left = PublicationSite.objects.filter(publication_id=publication_id).aggregate(
        left=Sum(F("slots") - F("placed") - F("cancelled"))
    )["left"]
    if left:
        return False
    publication = Publication.objects.select_related("author").get(pk=publication_id)
    with recorded(
        by=publication.author,
        action=history.PUBLICATION_RUN,
        reason=publication.reason,
        signature_id=publication.signature_id,
    ):
        return bool(
            Publication.objects.filter(pk=publication_id, state=Publication.State.RUNNING).update(
                state=Publication.State.COMPLETE, completed_at=Now(), revision=F("revision") + 1
            )
        )


def unfinished() -> list[int]:
    """Running publications that have something due now, or nothing left but their own end.

    What waits for a lot is due once its site has opened it.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            """SELECT p.id FROM recipes_publication p WHERE p.state = 'running' AND (
                EXISTS (SELECT 1 FROM recipes_publicationsite s WHERE s.publication_id = p.id
                    AND s.placed + s.cancelled < s.slots AND s.due_at <= statement_timestamp()
                    AND (p.lot_id IS NULL OR EXISTS (SELECT 1 FROM stations_lotopening o
                        WHERE o.lot_id = p.lot_id AND o.site_id = s.site_id)))
                OR NOT EXISTS (SELECT 1 FROM recipes_publicationsite s
                    WHERE s.publication_id = p.id AND s.placed + s.cancelled < s.slots))
            ORDER BY p.id"""
        )
        return [row[0] for row in cursor.fetchall()]
