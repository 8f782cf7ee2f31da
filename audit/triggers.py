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
