"""What the database does and refuses about passkeys, whatever way a change takes."""

import pgtrigger

from audit.capture.triggers import FirmTrigger, refusal


def _event(event: str, row: str) -> str:
    return (
        "INSERT INTO people_keyevent (user_id, factor_id, event, credential, attestation, label)"
        f" VALUES ({row}.user_id, {row}.id, '{event}',"
        f" coalesce({row}.data->'credential'->>'rawId', {row}.data->'credential'->>'id', ''),"
        f" coalesce({row}.data->'credential'->'response'->>'attestationObject', ''),"
        f" coalesce({row}.data->>'name', ''));"
    )


_OTHER = (
    "(OLD.user_id, OLD.type) IS DISTINCT FROM (NEW.user_id, NEW.type)"
    " OR OLD.data->'credential' IS DISTINCT FROM NEW.data->'credential'"
)
# On the library's table of second factors: the one writer of the keys' history.
KEPT_HISTORY = FirmTrigger(
    name="passkey_history",
    level=pgtrigger.Row,
    when=pgtrigger.After,
    operation=pgtrigger.Insert | pgtrigger.Update | pgtrigger.Delete,
    func=f"""
    IF TG_OP <> 'INSERT' AND OLD.type = 'webauthn' AND (TG_OP = 'DELETE' OR {_OTHER}) THEN
        {_event("removed", "OLD")}
    END IF;
    IF TG_OP <> 'DELETE' AND NEW.type = 'webauthn' AND (TG_OP = 'INSERT' OR {_OTHER}) THEN
        {_event("added", "NEW")}
    ELSIF TG_OP = 'UPDATE' AND NEW.type = 'webauthn'
            AND OLD.data->>'name' IS DISTINCT FROM NEW.data->>'name' THEN
        {_event("renamed", "NEW")}
    END IF;
    RETURN NULL;
    """,
)

BY_ITSELF = FirmTrigger(
    name="a_guard_written_by_itself",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="IF pg_trigger_depth() = 1 THEN "
    + refusal("% is written by the second factors' own trigger alone.")
    + " END IF; NEW.at := clock_timestamp(); RETURN NEW;",
)

# What the database can hold against an answer: all but the arithmetic of the key.
_CHALLENGE = "encode(sha256(convert_to(NEW.statement, 'UTF8')), 'hex')"
OWN_CHALLENGE = FirmTrigger(
    name="a_guard_challenge",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func=f"IF NEW.challenge IS DISTINCT FROM {_CHALLENGE} THEN "
    + refusal("An answer in % is one to its own statement.")
    + " END IF; RETURN NEW;",
)
ANSWERED = FirmTrigger(
    name="a_guard_passkey",
    when=pgtrigger.Before,
    operation=pgtrigger.Insert,
    func="""
    IF NEW.assertion_id IS NOT NULL AND NOT EXISTS (
        SELECT 1 FROM people_assertion a JOIN people_keyevent k ON k.id = a.key_id
        WHERE a.id = NEW.assertion_id AND k.user_id = NEW.user_id AND k.event = 'added'
            AND a.statement::jsonb @> jsonb_build_object(
                'signer', NEW.user_id, 'name', NEW.name, 'role', NEW.role, 'meaning', NEW.meaning,
                'digest', NEW.digest, 'subject_type', NEW.subject_type,
                'subject_id', NEW.subject_id, 'note', NEW.note
            )
            AND NOT EXISTS (
                SELECT 1 FROM people_keyevent r WHERE r.event = 'removed' AND r.id > k.id
                    AND r.factor_id = k.factor_id AND r.credential = k.credential
            )
    ) THEN """
    + refusal("A signature in % needs an answer of the signer's own passkey to just this.")
    + " END IF; RETURN NEW;",
)
