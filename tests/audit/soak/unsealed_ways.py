"""Tampering with what is not sealed yet: entries put in, and altered before their seal."""

from audit.ledger.checkpoint import read_checkpoint
from audit.sealing.store import newest_checkpoint
from people.persons.models import User
from tests.audit.soak.hands import Hands
from tests.audit.soak.ways import MIGHTY, way

# An entry about no governed row: a refusal, such as everybody's history has.
PUT = """
INSERT INTO audit_entry (id, txid, at, db_role, actor, action, operation, changes)
OVERRIDING SYSTEM VALUE VALUES ((SELECT max(id) + %s FROM audit_entry), coalesce(%s,
    pg_current_xact_id()::text::bigint), clock_timestamp() - %s * interval '1 second', 'program',
    'Head roaster', 'version.approved', 'refused', '{}')
"""


def _put(hands: Hands, *, txid: int | None = None, ago: int = 0) -> None:
    hands.do("audit_entry", PUT, hands.chance.randrange(1, 9), txid, ago)


@way("an entry put in as of an old transaction")
def of_an_old_transaction(hands: Hands) -> None:
    newest = newest_checkpoint()
    stamp = read_checkpoint(newest.note).stamp if newest else None
    assert stamp
    _put(hands, txid=hands.chance.randrange(1, stamp.floor[0] + 1),
         ago=hands.chance.choice([0, 60, 86_400]))  # fmt: skip


@way("an entry put in with a time of before")
def of_before(hands: Hands) -> None:
    """Further back than clocks are allowed for, counted from the last checkpoint."""
    _put(hands, ago=hands.chance.choice([3_600, 86_400, 10**8]))


@way("an entry put in with a time to come, or as of a transaction to come")
def to_come(hands: Hands) -> None:
    if hands.chance.random() < 0.5:
        _put(hands, ago=-hands.chance.choice([60, 86_400]))
    else:
        _put(hands, txid=2 ** hands.chance.randrange(40, 62))


@way("a false entry put in as of now")
def of_now(hands: Hands) -> None:
    _put(hands)


UNSEALED = "id = (SELECT max(id) FROM audit_entry)"


def _change() -> None:
    """Something true happens, and is recorded."""
    User.objects.filter(pk=User.objects.order_by("pk").values("pk")[:1]).update(name="Renamed")


@way("before its seal, an entry's author, action or reason altered")
def alter_author(hands: Hands) -> None:
    _change()
    name = hands.chance.choice(["actor", "role", "reason", "request_id", "action"])
    hands.do("audit_entry", f"UPDATE audit_entry SET {name} = 'other' WHERE {UNSEALED}")


@way("before its seal, an entry's time moved back")
def move_back(hands: Hands) -> None:
    _change()
    by = hands.chance.choice([3_600, 10**7])
    hands.do("audit_entry", "UPDATE audit_entry SET at = at - %s * interval '1 second'"
             f" WHERE {UNSEALED}", by)  # fmt: skip


@way("before its seal, what an entry says was changed altered")
def alter_change(hands: Hands) -> None:
    _change()
    hands.do("audit_entry", """UPDATE audit_entry SET changes = '{"name": ["Head", "Other"]}'"""
             f" WHERE {UNSEALED}")  # fmt: skip


@way("before its seal, an entry removed")
def remove(hands: Hands) -> None:
    _change()
    hands.do("audit_entry", f"DELETE FROM audit_entry WHERE {UNSEALED}")


@way("the floor or the snapshot of sealing moved", who=MIGHTY)
def move_the_floor(hands: Hands) -> None:
    """So that sealing passes an entry by."""
    _change()
    hands.do("audit_checkpoint", "UPDATE audit_checkpoint SET floor_txid = floor_txid + 1000"
             " WHERE id = (SELECT max(id) FROM audit_checkpoint)")  # fmt: skip
