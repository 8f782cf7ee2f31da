"""What the database itself refuses to do to a gateway and its keys."""

import pgtrigger

from audit.capture.triggers import FirmTrigger, refusal

GATEWAY_STAYS = FirmTrigger(
    name="a_guard_gateway",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.site_id, NEW.source) IS DISTINCT FROM (OLD.site_id, OLD.source)
        OR OLD.enrolled_at IS NOT NULL AND NEW.enrolled_at IS DISTINCT FROM OLD.enrolled_at
        OR OLD.revoked_at IS NOT NULL AND NEW.revoked_at IS DISTINCT FROM OLD.revoked_at
    THEN {refusal("A gateway in % stays at its site, and revoked once it was.")} END IF;
    RETURN NEW;
    """,
)

KEY_STAYS = FirmTrigger(
    name="a_guard_key",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.gateway_id, NEW.thumbprint, NEW.public)
            IS DISTINCT FROM (OLD.gateway_id, OLD.thumbprint, OLD.public)
        OR OLD.used_at IS NOT NULL AND NEW.used_at IS DISTINCT FROM OLD.used_at
        OR OLD.ended_at IS NOT NULL AND NEW.ended_at IS DISTINCT FROM OLD.ended_at
    THEN {refusal("A key in % never changes, and one that ended stays ended.")} END IF;
    RETURN NEW;
    """,
)

KEYS_KEPT = FirmTrigger(
    name="a_guard_key_kept",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Delete,
    func=refusal("Rows of % are never deleted."),
)

EVENT_STAYS = FirmTrigger(
    name="a_guard_event",
    level=pgtrigger.Row,
    when=pgtrigger.Before,
    operation=pgtrigger.Update,
    func=f"""
    IF (NEW.gateway_id, NEW.event_id, NEW.sequence, NEW.type, NEW.time, NEW.at, NEW.received_at)
            IS DISTINCT FROM (OLD.gateway_id, OLD.event_id, OLD.sequence, OLD.type, OLD.time,
            OLD.at, OLD.received_at)
        OR NEW.data IS DISTINCT FROM OLD.data
        OR OLD.shot_id IS NOT NULL AND NEW.shot_id IS DISTINCT FROM OLD.shot_id
    THEN {refusal("What was told in % stays as it came.")} END IF;
    RETURN NEW;
    """,
)
