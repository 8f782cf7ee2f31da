"""Tampering with what is sealed: entries, the tree, checkpoints, keys."""

from dataclasses import replace

from audit.ledger.checkpoint import Checkpoint as State
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.merkle import Frontier, leaf_hash
from audit.ledger.note import Signer, read_note
from audit.sealing import store
from audit.sealing.keys import origin, promise, signer
from audit.sealing.memory import Memory, begin_anew
from audit.sealing.models import Checkpoint
from audit.sealing.payload import payload_by_id
from audit.sealing.runs import leaves
from tests.audit.sealed import apart, entry_at, grown, leaf_hashes, sealed_ids
from tests.audit.soak.hands import Hands, NothingDoneError, rows
from tests.audit.soak.ways import way

TEXTS = ("actor", "role", "db_role", "request_id", "action", "table_name", "subject_type",
         "subject", "unit", "reason")  # fmt: skip
NUMBERS = ("txid", "actor_id", "row_id", "subject_id", "site_id", "signature_id")
SEALED = f"SELECT entry_id FROM {leaves()} l JOIN audit_entry ON id = entry_id ORDER BY index"


def _at_times_apart(hands: Hands) -> None:
    """Tampered with is a row a hash, or a row that holds many."""
    if hands.chance.random() < 0.5:
        apart()


@way("a sealed entry altered")
def alter(hands: Hands) -> None:
    pk, chance = hands.one(SEALED), hands.chance
    name, new = chance.choice([
        *((name, f"{name} || '.'") for name in TEXTS),
        *((name, f"coalesce({name}, 0) # 1") for name in NUMBERS),
        ("at", "at + interval '1 microsecond'"), ("client_addr", "'192.0.2.99'"),
        ("changes", """changes || '{"forged": [null, 1]}'"""),
        ("parameter", "coalesce(parameter, '') || '.'"),
    ])  # fmt: skip
    hands.do("audit_entry", f"UPDATE audit_entry SET {name} = {new} WHERE id = %s", int(str(pk)))


@way("a sealed entry removed")
def remove(hands: Hands) -> None:
    hands.do("audit_entry", "DELETE FROM audit_entry WHERE id = %s", int(str(hands.one(SEALED))))


@way("a sealed entry removed with its leaf")
def remove_with_leaf(hands: Hands) -> None:
    apart()
    pk = int(str(hands.one(SEALED)))
    hands.do("audit_entry", "DELETE FROM audit_entry WHERE id = %s", pk)
    hands.do("audit_leaf", "DELETE FROM audit_leaf WHERE entry_id = %s", pk)


@way("two entries changed for one another")
def swap(hands: Hands) -> None:
    _at_times_apart(hands)
    a, b = hands.chance.sample(rows("SELECT index, entry_id FROM audit_leaf ORDER BY index"), 2)
    to = "UPDATE audit_leaf SET entry_id = %s WHERE index = %s"
    for entry, index in ((-1, a[0]), (a[1], b[0]), (b[1], a[0])):
        hands.do("audit_leaf", to, int(str(entry)), int(str(index)))


# The first hash of a row made another; what follows it in the row stays.
OTHER = "overlay(hashes PLACING sha256(hashes) FROM 1 FOR 32)"


@way("a leaf's hash altered")
def alter_leaf(hands: Hands) -> None:
    _at_times_apart(hands)
    at = int(str(hands.one("SELECT index FROM audit_leaf ORDER BY index")))
    hands.do("audit_leaf", f"UPDATE audit_leaf SET hashes = {OTHER} WHERE index = %s", at)


@way("a leaf put at the end")
def add_leaf(hands: Hands) -> None:
    apart()
    hands.do("audit_leaf", "INSERT INTO audit_leaf (index, entry_id, hashes) SELECT max(index) + 1,"
             " max(entry_id) + 1000, sha256('forged') FROM audit_leaf")  # fmt: skip


def _nodes() -> tuple[set[tuple[int, int]], set[tuple[int, int]]]:
    """Inner nodes on the frontier of some checkpoint, and all others."""
    apart()
    every = {(int(str(a)), int(str(b))) for a, b in rows('SELECT level, "offset" FROM audit_node')}
    shown = {
        (level, (size >> level) - 1)
        for size in Checkpoint.objects.values_list("size", flat=True)
        for level in range(1, size.bit_length())
        if size >> level & 1
    }
    return every & shown, every - shown


def _alter_node(hands: Hands, places: set[tuple[int, int]]) -> None:
    if not places:
        raise NothingDoneError
    level, offset = hands.chance.choice(sorted(places))
    hands.do("audit_node", 'UPDATE audit_node SET hashes = sha256(hashes) WHERE level = %s'
             ' AND "offset" = %s', level, offset)  # fmt: skip


@way("a node of the tree altered that a checkpoint stands on")
def alter_node(hands: Hands) -> None:
    _alter_node(hands, _nodes()[0])


@way("a node of the tree altered that no checkpoint stands on")
def alter_inner_node(hands: Hands) -> None:
    _alter_node(hands, _nodes()[1])


CHECKPOINT = "SELECT id FROM audit_checkpoint ORDER BY id"
NEWEST = "(SELECT max(id) FROM audit_checkpoint)"


@way("a checkpoint's row altered")
def alter_checkpoint(hands: Hands) -> None:
    name, new = hands.chance.choice([
        ("size", "size + 1"), ("root", "sha256(root)"),
        ("note", "replace(note, 'time 2', 'time 1')"), ("floor_txid", "floor_txid + 1"),
        ("floor_id", "floor_id - 1"), ("made_at", "made_at - interval '1 second'"),
    ])  # fmt: skip
    pk = int(str(hands.one(CHECKPOINT)))
    hands.do("audit_checkpoint", f"UPDATE audit_checkpoint SET {name} = {new} WHERE id = %s", pk)


@way("an older checkpoint removed")
def remove_checkpoint(hands: Hands) -> None:
    pk = int(str(hands.one(f"SELECT id FROM audit_checkpoint WHERE id < {NEWEST} ORDER BY id")))
    hands.do("audit_checkpoint", "DELETE FROM audit_checkpoint WHERE id = %s", pk)


@way("a checkpoint signed with another key put in")
def add_checkpoint(hands: Hands) -> None:
    pk = int(str(hands.one(CHECKPOINT)))
    row = Checkpoint.objects.get(pk=pk)
    state = read_checkpoint(row.note)
    note = replace(state, root=leaf_hash(b"forged")).signed([Signer(origin(), b"\x66" * 32)])
    hands.do("audit_checkpoint", "INSERT INTO audit_checkpoint (size, root, note, made_at,"
             " floor_txid, floor_id) SELECT size, %s, %s, made_at, floor_txid, floor_id"
             " FROM audit_checkpoint WHERE id = %s", leaf_hash(b"forged"), note, pk)  # fmt: skip


@way("the history cut back to an earlier checkpoint", keys=("without", "with"))
def cut(hands: Hands) -> None:
    """The last batches, which are of no governed table that is looked at."""
    states = list(Checkpoint.objects.order_by("-id"))
    to = states[hands.chance.choice([1, 2])]
    size = to.size
    apart()
    hands.do("audit_entry", "DELETE FROM audit_entry WHERE id IN (SELECT entry_id FROM audit_leaf"
             " WHERE index >= %s)", size)  # fmt: skip
    hands.do("audit_leaf", "DELETE FROM audit_leaf WHERE index >= %s", size)
    hands.do("audit_node", 'DELETE FROM audit_node WHERE ("offset" + 1) * (1 << level) > %s', size)
    hands.do("audit_checkpoint", "DELETE FROM audit_checkpoint WHERE id > %s", to.pk)
    if hands.key:
        begin_anew(Memory(read_checkpoint(to.note)))


def _handed_over() -> int:
    """What the present key alone signed begins there: before, another signed, and handed over."""
    notes = list(Checkpoint.objects.values_list("size", "note"))
    return max((size for size, note in notes if len(read_note(note).signatures) > 1), default=0)


def _alter_after_handover(hands: Hands) -> int:
    """One entry's reason; returns the entry's place."""
    at = hands.chance.choice(range(_handed_over(), store.size()))
    pk = entry_at(at)
    hands.do("audit_entry", "UPDATE audit_entry SET reason = 'rebuilt' WHERE id = %s", pk)
    return at


def _rebuild(hands: Hands, key: Signer, at: int) -> None:
    """Everything from an altered entry on worked out anew and signed with the key."""
    entries, hashes = sealed_ids(), leaf_hashes()
    hashes[at:] = [leaf_hash(payload_by_id(pk) or b"") for pk in entries[at:]]
    hands.do("audit_node", "DELETE FROM audit_node")
    hands.do("audit_leaf", "DELETE FROM audit_leaf")
    tree, states, last = Frontier(), list(Checkpoint.objects.order_by("id")), None
    for one, start in zip(states, [0, *(s.size for s in states)], strict=False):
        ids = entries[start : one.size]
        for table, statement, values in grown(tree, ids, hashes[start : one.size]):
            hands.do(table, statement, *values)
        if one.size > at:
            last = State(origin(), one.size, tree.root(), read_checkpoint(one.note).stamp)
            note = last.signed([key])
            hands.do("audit_checkpoint", "UPDATE audit_checkpoint SET root = %s, note = %s,"
                     " promise = %s WHERE id = %s",
                     last.root, note, promise(key, note), one.pk)  # fmt: skip
    if hands.key and last:
        begin_anew(Memory(last))


@way("the history rebuilt from a point on", keys=("with",))
def rebuild(hands: Hands) -> None:
    _rebuild(hands, signer(), _alter_after_handover(hands))


@way("the history rebuilt and signed with another key")
def rebuild_with_another(hands: Hands) -> None:
    _rebuild(hands, Signer(origin(), b"\x66" * 32), _alter_after_handover(hands))


RENAMED = f"""
SELECT l.index, e.id, e.row_id FROM audit_entry e JOIN {leaves()} l ON l.entry_id = e.id
WHERE e.table_name = 'people_user' AND e.operation = 'changed' AND e.changes ? 'name'
ORDER BY l.index DESC LIMIT 1
"""


@way("a governed value altered, and the history rebuilt to say so", keys=("with",))
def rewrite(hands: Hands) -> None:
    ((at, entry, person),) = rows(RENAMED)
    forged = f"Forged {hands.chance.randrange(1000)}"
    hands.do("people_user", "UPDATE people_user SET name = %s WHERE id = %s", forged,
             int(str(person)))  # fmt: skip
    hands.do("audit_entry", "UPDATE audit_entry SET subject = %s, changes = jsonb_set(changes,"
             " '{name,1}', to_jsonb(%s::text)) WHERE id = %s", forged, forged,
             int(str(entry)))  # fmt: skip
    _rebuild(hands, signer(), int(str(at)))


@way("a public key put among the others")
def add_key(hands: Hands) -> None:
    other = Signer(origin(), hands.chance.randbytes(32)).verifier.text
    hands.do("audit_ledgerkey", "INSERT INTO audit_ledgerkey (id, public, replaces)"
             " OVERRIDING SYSTEM VALUE VALUES (%s, %s, '')",
             hands.chance.choice([-5, 0, 10**6]), other)  # fmt: skip


@way("a public key removed")
def remove_key(hands: Hands) -> None:
    hands.do("audit_ledgerkey", "DELETE FROM audit_ledgerkey WHERE id ="
             " (SELECT id FROM audit_ledgerkey ORDER BY random() LIMIT 1)")  # fmt: skip
