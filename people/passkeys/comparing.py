"""Whether the passkeys that there are, are those that their history tells of.

The history of what a second factor holds says only that it changed, so the replay of governed
tables can't find another key put in its place. What came and went by whom stands in KeyEvent.
"""

from collections.abc import Iterator

from django.db import connection

from audit.registry import KeyFound

# Each key there is now beside the newest event by which the same key of the same person came and
# did not go again; what only one side has is told. The attestation object has the public key.
_BOTH = """
WITH here AS (
    SELECT a.user_id, a.id AS factor_id, coalesce(a.data->>'name', '') AS label,
        coalesce(a.data->'credential'->>'rawId', a.data->'credential'->>'id', '') AS credential,
        coalesce(a.data->'credential'->'response'->>'attestationObject', '') AS attestation
    FROM mfa_authenticator a WHERE a.type = 'webauthn'
), told AS (
    SELECT k.* FROM people_keyevent k WHERE k.event = 'added' AND NOT EXISTS (
        SELECT 1 FROM people_keyevent r WHERE r.event = 'removed' AND r.id > k.id
            AND r.factor_id = k.factor_id AND r.credential = k.credential)
)
SELECT coalesce(h.user_id, t.user_id), u.name, coalesce(h.label, t.label), h.factor_id
FROM here h FULL JOIN told t
    ON (t.user_id, t.factor_id, t.credential, t.attestation)
        = (h.user_id, h.factor_id, h.credential, h.attestation)
JOIN people_user u ON u.id = coalesce(h.user_id, t.user_id)
WHERE h.factor_id IS NULL OR t.id IS NULL
ORDER BY 1, 4, t.id
"""
# Keys that are there still, and whose coming is an entry of somebody else than their person.
_BY_HAND = """
SELECT k.user_id, u.name, k.label, e.actor, e.id
FROM people_keyevent k
JOIN people_user u ON u.id = k.user_id
JOIN audit_entry e ON e.subject_type = 'person' AND e.subject_id = k.user_id
    AND e.table_name = 'people_keyevent' AND e.row_id = k.id AND e.operation = 'created'
WHERE k.event = 'added' AND e.actor_id IS DISTINCT FROM k.user_id
    AND e.action <> 'passkeys.noted'
    AND NOT EXISTS (
        SELECT 1 FROM people_keyevent r WHERE r.event = 'removed' AND r.id > k.id
            AND r.factor_id = k.factor_id AND r.credential = k.credential)
ORDER BY e.id
"""

UNTOLD = "it is there, and nothing tells that it, or the key it holds, was added."
GONE = "it was added and never removed, and is not there."


def keys_not_as_told() -> Iterator[KeyFound]:
    """Every passkey that is not as its history has it, or came by nobody's own act. Two queries."""
    with connection.cursor() as cursor:
        cursor.execute(_BOTH)
        for person, name, label, factor in cursor.fetchall():
            why = GONE if factor is None else UNTOLD
            yield KeyFound(person, name, f"passkey “{label}”: {why}")
        cursor.execute(_BY_HAND)
        for person, name, label, actor, entry in cursor.fetchall():
            words = f"passkey “{label}”: added by “{actor}”, not by {name}. Remove it, and look who"
            yield KeyFound(person, name, f"{words} could sign with it.", entry)
