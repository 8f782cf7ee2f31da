"""Invariants 4, 5 and 8 attacked with SQL, long after the signature was given.

The database is reached as its owner here: what even an owner can't do by a slip, and what only
somebody who means it can (the last tests, which DEVELOPERS.md's threat model names).
"""

import re

import pytest
from django.db import Error, connection, transaction

from audit.capture.models import Entry
from people.persons.models import User
from recipes.publishing.actions import cancel, stop
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.bar import Bar
from tests.recipes.publishing.attacks import ATTACKS, INSERT, Scene, look, run
from tests.recipes.publishing.hands import (
    at_slot,
    in_force,
    next_week,
    order_for,
    other_version,
    signing,
    work,
)

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]


@pytest.fixture
def scene(bar: Bar) -> Scene:
    """Two slots with a past and a present, one of them with a future; the rest is free."""
    head, other = bar.cast.head_roaster, other_version(bar)
    slot = bar.slots[0]
    both = Scope(Where.STATIONS, (slot.station_id,))
    for version in (bar.version, other):
        work(signing(order_for(version, head, both), head)().pk, 10)
    given_up = signing(order_for(bar.version, head, at_slot(slot), next_week()), head)()
    stop(by=head, publication=given_up, revision=given_up.revision, reason="No")
    cancel(by=head, publication=given_up, revision=given_up.revision, reason="No")
    lonely = bar.slots[4]
    for where in (at_slot(slot), at_slot(lonely)):
        signing(order_for(bar.version, head, where, next_week()), head)()
    mine = Placement.objects.filter(slot=slot)
    held = mine.get(state="in_force")
    return Scene(
        slot.pk, bar.slots[2].pk, held.site_id, held.pk, held.settings_id,
        held.basis_id or 0, held.signature_id or 0, mine.get(state="ended").pk,
        in_force(bar.slots[1]).pk, mine.get(state="scheduled").pk, mine.get(state="cancelled").pk,
        Placement.objects.get(slot=lonely).pk,
    )  # fmt: skip


def test_every_attack_is_refused_in_its_own_words(scene: Scene, bar: Bar) -> None:
    before, entries = look(bar.slots), Entry.objects.count()
    for name, (statement, answer) in ATTACKS.items():
        with pytest.raises(Error) as refused:
            run(statement, scene)
        assert re.search(answer, str(refused.value)), (name, refused.value)
        assert look(bar.slots) == before, name
    assert Entry.objects.count() == entries


def test_a_refusal_tells_who_may(scene: Scene) -> None:
    for name in ("other settings", "end it", "delete", "a borrowed signature"):
        with pytest.raises(Error) as refused:
            run(ATTACKS[name][0], scene)
        diagnosis = refused.value.__cause__.diag  # type: ignore[union-attr]
        assert diagnosis.sqlstate == "PL001", name
        assert "A head roaster changes it" in (diagnosis.message_hint or ""), name


END_FOR = (
    "UPDATE stations_placement SET state = '{state}', superseded_by_id = {waiting}{ended}"
    " WHERE id = {held};"
)
BEGIN = "UPDATE stations_placement SET state = 'in_force', started_at = now() WHERE id = {waiting};"


@pytest.mark.parametrize(
    "attack",
    [
        END_FOR.replace("{state}", "ended").replace("{ended}", ", ended_at = clock_timestamp()"),
        END_FOR.replace("{state}", "suspended").replace("{ended}", ""),
        # A way back to what is superseded, which only a permit leaves.
        END_FOR.replace("{state}", "suspended").replace("{ended}", "") + BEGIN,
        "WITH a AS (" + END_FOR.replace("{state}", "suspended").replace("{ended}", "")[:-1]
        + " RETURNING id) "
        + BEGIN[:-1]
        + " AND (SELECT count(*) FROM a) = 1",
    ],
    ids=["end", "suspend", "suspend for good", "suspend at once"],
)  # fmt: skip
def test_a_locked_slot_is_not_opened_for_what_is_only_due(attack: str, bar: Bar) -> None:
    """A stopped publication may leave a slot's successor due for days."""
    head, slot = bar.cast.head_roaster, bar.slots[0]
    work(signing(order_for(bar.version, head, at_slot(slot)), head)().pk, 10)
    stopped = signing(order_for(other_version(bar), head, at_slot(slot)), head)()
    stop(by=head, publication=stopped, revision=stopped.revision, reason="Not yet")
    held, before = in_force(slot), look(bar.slots)
    waiting = Placement.objects.get(slot=slot, state="scheduled")
    with (
        pytest.raises(Error, match="stays locked"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(attack.format(held=held.pk, waiting=waiting.pk))
    assert look(bar.slots) == before


PUBLICATION = {
    "another reason": "reason = 'Because'",
    "another version": "version_id = version_id + 1",
    "a wider scope": "scope = '{{}}'",
    "another day": "local_date = '2030-01-01', local_time = '06:00'",
    "another signer": "author_id = author_id + 1",
    "unsign it": "signature_id = NULL",
    "begin again": "state = 'running'",
    "cancel it when done": "state = 'cancelled'",
}


def test_a_signed_publication_stays_as_it_was_signed(scene: Scene) -> None:
    before = Publication.objects.values().get(pk=scene.publication)
    for change in PUBLICATION.values():
        with pytest.raises(Error, match=r"never changes|cannot go"):
            run(f"UPDATE recipes_publication SET {change} WHERE id = {scene.publication}", scene)
    for table in ("recipes_publication", "recipes_publicationsite"):
        with pytest.raises(Error, match="never removed"):
            run(f"DELETE FROM {table}", scene)
        with pytest.raises(Error, match=r"can't be emptied|cannot truncate"):
            run(f"TRUNCATE {table}", scene)
    assert Publication.objects.values().get(pk=scene.publication) == before


@pytest.mark.parametrize(
    ("change", "answer"),
    [
        ("placed = placed - 1", "stays counted"),
        ("placed = slots + 1", "places_no_more_than_planned"),
        ("slots = 0, placed = 0", "never changes"),
        ("due_at = due_at + interval '1 day'", "never changes"),
        ("refusals = '[]', slots = slots + 1", "never changes"),
    ],
)
def test_its_share_of_a_site_stays_counted(scene: Scene, change: str, answer: str) -> None:
    where = f"WHERE publication_id = {scene.publication}"
    with pytest.raises(Error, match=answer):
        run(f"UPDATE recipes_publicationsite SET {change} {where}", scene)


def test_a_publication_is_not_called_complete_while_a_slot_waits(bar: Bar) -> None:
    """Else no sweep would find it, and the rest would never come."""
    head = bar.cast.head_roaster
    publication = signing(order_for(bar.version, head, Scope(Where.ALL)), head)()
    with pytest.raises(Error, match="complete only once every slot is placed"):
        Publication.objects.filter(pk=publication.pk).update(
            state="complete", completed_at=publication.made_at
        )
    assert work(publication.pk, 100) == len(bar.slots)


# What remains, and is left to the history: whoever owns the database and means it.


FORGE = (
    "INSERT INTO people_signature (user_id, name, role, meaning, digest, subject_type,"
    " subject_id, at, note, manner) VALUES (%s, %s, 'head_roaster', %s, %s, %s, %s,"
    " now() - interval '1 year', '', 'password') RETURNING id, at > now()"
)


def forge(scene: Scene, who: User, basis: str, basis_id: int, manner: str, meaning: str) -> None:
    """A signature in another's name, and a placement of the free slot under it."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(FORGE, [who.pk, who.name, meaning, "0" * 64, basis, basis_id])
        forged, stamped = cursor.fetchone()
        assert stamped, "the database stamps the moment itself"
        statement = INSERT + (
            "({free}, {site}, {settings}, %s, %s, %s, %s, 'scheduled', 'unread', now(), NULL, NULL)"
        ).format(**vars(scene))
        cursor.execute(statement, [basis, basis_id, manner, forged])


def test_a_forged_signature_is_on_record_with_its_true_moment(scene: Scene, bar: Bar) -> None:
    """With SQL one can sign in another's name; not unseen, and not for yesterday."""
    forge(scene, bar.cast.head_roaster, "publication", scene.publication, "takes_over", "published")
    traces = Entry.objects.order_by("-pk")[:2]
    assert {(trace.table_name, trace.channel, trace.actor) for trace in traces} == {
        ("people_signature", "database", "database"),
        ("stations_placement", "database", "database"),
    }


@pytest.mark.parametrize(
    ("basis", "basis_id", "manner", "meaning"),
    [
        ("publication", 999_999, "takes_over", "published"),
        ("permit", 999_999, "steps_in", "permitted"),
        ("re_translation", 999_999, "renews", "re_translated"),
        ("whim", 1, "takes_over", "published"),
        ("publication", None, "steps_in", "published"),
        ("publication", None, "takes_over", "permitted"),
    ],
)
def test_not_even_a_forged_one_is_under_nothing(
    scene: Scene, bar: Bar, basis: str, basis_id: int | None, manner: str, meaning: str
) -> None:
    """What a placement names exists, and it behaves and is signed as that does."""
    with pytest.raises(Error, match="that exists, and is signed as such"):
        forge(scene, bar.cast.head_roaster, basis, basis_id or scene.publication, manner, meaning)


def test_what_waits_can_be_cancelled_by_sql_on_record(scene: Scene, bar: Bar) -> None:
    run("UPDATE stations_placement SET state = 'cancelled' WHERE id = {waiting}", scene)
    trace = Entry.objects.latest("pk")
    assert (trace.channel, trace.changes) == ("database", {"state": ["scheduled", "cancelled"]})
    assert in_force(Slot.objects.get(pk=scene.slot)).pk == scene.held, "the lock holds"
