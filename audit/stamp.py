"""Nothing can forge the clock: who writes an entry chooses neither its time nor its origin."""

import pgtrigger

from audit.triggers import REFUSED, FirmTrigger

# Checked in the trigger's WHEN, which costs a fraction of a microsecond a row; the function runs
# only for an entry that was not written by the capture, or that brings its own time.
DOUBTFUL = """
    pg_trigger_depth() = 0
    OR NEW.at NOT BETWEEN clock_timestamp() - interval '1 second' AND clock_timestamp()
    OR NEW.txid IS DISTINCT FROM (pg_current_xact_id()::text)::bigint
    OR NEW.db_role IS DISTINCT FROM session_user::text
"""

STAMP = f"""
    NEW.at := clock_timestamp();
    NEW.txid := (pg_current_xact_id()::text)::bigint;
    NEW.db_role := session_user::text;
    IF pg_trigger_depth() = 1 THEN
        IF NEW.operation IS DISTINCT FROM 'refused' THEN
            RAISE EXCEPTION 'History is written by the capture of governed tables alone.'
                USING ERRCODE = '{REFUSED}';
        END IF;
        SELECT * INTO c FROM audit_context();
        NEW.id := nextval(pg_get_serial_sequence('audit_entry', 'id'));
        NEW.actor_id := c.actor_id; NEW.actor := c.actor; NEW.role := c.role;
        NEW.road := c.road; NEW.client_addr := c.client_addr; NEW.request_id := c.request_id;
        NEW.action := c.action; NEW.signature_id := NULL;
        NEW.table_name := ''; NEW.row_id := NULL;
    END IF;
    RETURN NEW;
"""  # noqa: S608  a constant


def stamped() -> FirmTrigger:
    """Sets time, transaction and database role; of direct writes only refusals are let in.

    Their author and action come from the transaction's context, like those of any change.
    """
    return FirmTrigger(
        name="entry_stamped",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Insert,
        condition=pgtrigger.Condition(DOUBTFUL),
        declare=[("c", "record")],
        func=STAMP,
    )
