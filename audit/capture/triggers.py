"""Triggers that cannot be asked to look away.

django-pgtrigger wraps every function in a check of `pgtrigger.ignore`, which any session may set.
These are the same triggers without that door, and they run as their owner so that the program's
own database role needs no right to write history.
"""

import pgtrigger
from django.db import models
from pgtrigger import compiler

REFUSED = "restrict_violation"  # SQLSTATE 23001: Django raises it as IntegrityError


class FirmTriggerSql(compiler.UpsertTriggerSql):
    """The SQL that installs one firm trigger. Migrations refer to it: keep it as it is."""

    def get_template(self) -> str:
        """Function and trigger; the fixed search_path is what makes SECURITY DEFINER safe."""
        return """
            CREATE OR REPLACE FUNCTION {pgid}()
            RETURNS TRIGGER AS $$
                {declare}
                BEGIN
                    {func}
                END;
            $$ LANGUAGE plpgsql SECURITY DEFINER
               SET search_path = public, pg_temp
               SET timezone = 'UTC';

            DROP TRIGGER IF EXISTS {pgid} ON {table};
            CREATE TRIGGER {pgid}
                {when} {operation} ON {table}
                {referencing}
                FOR EACH {level} {condition}
                EXECUTE PROCEDURE {execute};

            COMMENT ON TRIGGER {pgid} ON {table} IS '{hash}';
        """


class FirmTrigger(pgtrigger.Trigger):
    """A trigger without the `pgtrigger.ignore` door."""

    def compile(self, model: models.Model) -> compiler.Trigger:
        """What migrations store and install."""
        sql = FirmTriggerSql(
            pgid=self.get_pgid(model),
            declare=self.render_declare(model),
            func=self.render_func(model),
            table=model._meta.db_table,
            when=self.when,
            operation=self.operation,
            referencing=self.referencing or "",
            level=self.level,
            condition=self.render_condition(model),
            execute=self.render_execute(model),
        )
        return compiler.Trigger(name=self.name, sql=sql)


def refusal(sentence: str) -> str:
    """PL/pgSQL that ends the statement with a sentence; `%` in it stands for the table's name."""
    quoted = sentence.replace("'", "''")
    return f"RAISE EXCEPTION '{quoted}', TG_TABLE_NAME USING ERRCODE = '{REFUSED}';"


def no_truncate(name: str) -> FirmTrigger:
    """Refuses TRUNCATE, which fires no row trigger and leaves no rows to record."""
    return FirmTrigger(
        name=name,
        level=pgtrigger.Statement,
        when=pgtrigger.Before,
        operation=pgtrigger.Truncate,
        func=refusal("% can't be emptied: its rows are governed."),
    )


class Kept(FirmTrigger):
    """Keeps every row as it was written: the program's role gets no right to change them either."""


def insert_only(name: str) -> list[pgtrigger.Trigger]:
    """Triggers for Meta.triggers that refuse to change, remove or empty what was once written.

    By row, so that a cascade which finds no row to delete is not refused for nothing.
    """
    change = Kept(
        name=f"{name}_kept",
        level=pgtrigger.Row,
        when=pgtrigger.Before,
        operation=pgtrigger.Update | pgtrigger.Delete,
        func=refusal("Rows of % are never changed or deleted."),
    )
    return [change, no_truncate(f"{name}_whole")]


# Nothing can forge the clock: who writes an entry chooses neither its time nor its origin.

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
