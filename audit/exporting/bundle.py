"""The whole history as a bundle: entries, fingerprints, checkpoints; see audit.ledger.bundle.

What stands in the tables is written down as it is, damage included: it is the check that judges.
Nothing here may therefore stop at a row that is missing, forged or unreadable.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

from django.db import connection

from audit.ledger.bundle.lines import Header, Mark, apart, write
from audit.ledger.bundle.write import Leaf, Run, Writer
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier
from audit.retention.records import archives_of
from audit.sealing import store
from audit.sealing.models import Checkpoint, LedgerKey
from audit.sealing.payload import MADE, entries_by_id, made_in_a_row, payloads_of
from audit.sealing.runs import SEALED_IN_PLACE, leaves
from audit.sealing.seal import oldest_running
from audit.witnessing.standing import with_lines

# Checkpoints; of more, one an hour, and every one that hands over from key to key, marks entries
# as late, doesn't fit its row, or is the last that a witness saw.
ALL_UP_TO = 5_000
AHEAD = 100_000  # entries a checkpoint may lie beyond the last leaf and still be compared
STRAYS = 10_000
CHUNK = 20_000  # leaves read at once
FEW = 8  # stretches of ids that are asked for one by one
LOST = bytes(32)
"""Stands for a leaf whose row is gone or is no hash: no bytes have it."""

_TIME = """to_char(made_at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')"""
_CHECKPOINTS = f"""
SELECT note, size, fits, every, ARRAY(
    SELECT line FROM audit_cosignature s WHERE s.checkpoint_id = c.id ORDER BY s.id
) FROM (
    SELECT *, lag(date_trunc('hour', made_at)) OVER (ORDER BY id DESC)
        IS DISTINCT FROM date_trunc('hour', made_at) AS newest_of_hour,
        split_part(note, E'\\n', 2) = size::text
        AND split_part(note, E'\\n', 3) = encode(root, 'base64')
        AND (position(E'\\nnumber ' IN note) = 0
            OR position(E'\\ntime ' || {_TIME} || E'\\n' IN note) > 0
            AND position(format(E'\\nfloor %%s %%s\\n', floor_txid, floor_id) IN note) > 0) AS fits,
        count(*) OVER () <= %s AS every
    FROM audit_checkpoint
) c
WHERE every OR newest_of_hour OR note LIKE E'%%\\n— %%\\n— %%' OR note ~ '\\nlate \\d+ ' OR NOT fits
    OR id IN (SELECT max(checkpoint_id) FROM audit_cosignature GROUP BY witness)
ORDER BY id
"""  # noqa: S608  our own SQL
_LEAVES = f"""
SELECT l.index, l.entry_id, l.hash FROM {leaves("%(start)s", "%(stop)s")} l ORDER BY l.index
"""  # noqa: S608  our own SQL
# Never sealed though sealing has passed them by, or of a transaction that had ended by then or has
# not begun yet: put there by hand. Entries still waiting to be sealed are none of these.
_STRAYS = f"""
SELECT {MADE} FROM audit_entry e
WHERE NOT e.id <@ {SEALED_IN_PLACE}
    AND ((e.txid, e.id) <= (%s, %s) OR (e.txid < %s AND e.txid <> ALL(%s))
        OR e.txid >= pg_snapshot_xmax(pg_current_snapshot())::text::bigint)
ORDER BY e.id LIMIT %s
"""  # noqa: S608  our own SQL


@dataclass(frozen=True)
class Signed:
    """The checkpoints to write: notes that can be placed, and those that can't be believed; and
    whether that is every one."""

    notes: list[str]
    odd: list[str]
    every: bool = True


def bundle() -> Iterator[bytes]:
    """The lines of the bundle, to stream; entries sealed since it began are left for the next."""
    leaves = store.size()
    signed = _signed(leaves)
    size = max([leaves, *(read_checkpoint(note).size for note in signed.notes)])
    keys = _keys()
    yield write(Header(keys[0].name if keys else "unknown", tuple(keys), signed.every))
    yield from _body(Writer(signed.notes, store.nodes), size, _strays(), signed.odd)


def _body(writer: Writer, size: int, strays: list[bytes], odd: list[str]) -> Iterator[bytes]:
    # Among the last entries, before the checkpoint that speaks of them: so the check can say of
    # each that it was never sealed.
    last = size - 1 if strays else size
    for part in chain(payloads(0, last), [None], payloads(last, size)):
        if part is None:
            yield from strays
        else:
            yield from writer.run(part) if isinstance(part, Run) else writer.leaf(part)
    yield from (write(Mark(note, [])) for note in odd)
    yield from writer.close()


def payloads(start: int, stop: int) -> Iterator[Run | Leaf]:
    """Every leaf from `start` up to but not including `stop`, with no transaction held open: many
    at once where all of them are there.

    Bytes are None where the entry is gone (to an archive, if a record says so), the hash is LOST
    where the leaf is.
    """
    for first in range(max(start, 0), stop, CHUNK):
        last = min(first + CHUNK, stop)
        run = _run(first, last)
        yield from _one_by_one(first, last) if run is None else [run]


def _run(first: int, last: int) -> Run | None:
    """All leaves of this range, None unless all of them and their entries are there and whole."""
    stored = store.runs(first, last)
    if stored is None:
        return None
    entries, hashes = stored
    made = _entries(entries)
    return Run(first, apart(hashes), made) if len(made) == last - first else None


def _entries(runs: list[tuple[int, int]]) -> list[bytes]:
    """The bytes of the entries from each first id to the last beside it that are there."""
    if len(runs) <= FEW:
        return [one for first, last in runs for one in made_in_a_row(first, last).payloads]
    ids = [pk for first, last in runs for pk in range(first, last + 1)]
    there = entries_by_id(ids)
    return [there[pk] for pk in ids if pk in there]


def _one_by_one(first: int, last: int) -> Iterator[Leaf]:
    with connection.cursor() as cursor:
        cursor.execute(_LEAVES, {"start": first, "stop": last})
        found = cursor.fetchall()
    there, at = entries_by_id([entry_id for _, entry_id, _ in found]), first
    gone = [entry_id for _, entry_id, _ in found if entry_id not in there]
    archived = archives_of(gone) if gone else {}
    for index, entry_id, stored in found:
        if index < at:
            continue  # a second one of the same place: what it is of counts as not sealed
        yield from (Leaf(lost, LOST, None) for lost in range(at, index))
        whole = bytes(stored) if len(stored) == len(LOST) else LOST
        yield Leaf(index, whole, there.get(entry_id), archived.get(entry_id))
        at = index + 1
    yield from (Leaf(lost, LOST, None) for lost in range(at, last))


def _signed(leaves: int) -> Signed:
    with connection.cursor() as cursor:
        cursor.execute(_CHECKPOINTS, [ALL_UP_TO])
        rows = cursor.fetchall()
    signed = Signed([], [], all(row[3] for row in rows))
    for signed_note, size, said, _, lines in rows:
        fits = said and size <= leaves + AHEAD and _readable(signed_note)
        note = with_lines(signed_note, lines) if lines else signed_note
        (signed.notes if fits else signed.odd).append(
            note if fits else f"(the row says {size} entries)\n{note}"
        )
    return signed


def _readable(note: str) -> bool:
    try:
        read_checkpoint(note)
    except LedgerError:
        return False
    return True


def _keys() -> list[Verifier]:
    keys = []
    for public in LedgerKey.objects.order_by("id").values_list("public", flat=True):
        try:
            keys.append(Verifier.read(public))
        except LedgerError:
            continue  # its checkpoints will be signed by no key known
    return keys


def _strays() -> list[bytes]:
    newest = Checkpoint.objects.order_by("-id").first()
    floor = (newest.floor_txid, newest.floor_id) if newest else (0, 0)
    following, running = _through(newest)
    if oldest_running() <= floor[0]:
        floor, following = (0, 0), 0  # restored into a new cluster: see audit.sealing.seal
    found = payloads_of(_STRAYS, [*floor, following, running, STRAYS])
    return [payload + b"\n" for payload in found.payloads]


def _through(newest: Checkpoint | None) -> tuple[int, list[int]]:
    """Up to which transaction, but for which, all is sealed by what the newest checkpoint says."""
    try:
        stamp = read_checkpoint(newest.note).stamp if newest else None
    except LedgerError:
        stamp = None  # the check finds it
    return (stamp.through.next, list(stamp.through.open)) if stamp and stamp.through else (0, [])
