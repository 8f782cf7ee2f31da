"""Whether the tables still have the rules that the migrations gave them.

A rule that somebody dropped or loosened is not seen by any trigger: a constraint, a unique index, a
column that must be filled, the condition of a trigger. After migrating, the tables are made once
more from the models, in a schema that is rolled back again, and what the database then says of
them, in its own words, is kept and goes into the history. That is compared with what is there.
"""

import json
import logging
import re
from collections.abc import Iterator
from hashlib import sha256
from typing import NamedTuple

import pgtrigger
from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connection, connections, models, transaction
from django.urls import reverse

from audit.alarms import Alarm, register_alarm
from audit.capture.context import recorded
from audit.capture.installed import GUARDS, migrated_sql
from audit.quick import quick
from audit.reconciling.models import Structure
from audit.reconciling.tables import governed_tables
from audit.vocabulary import register

logger = logging.getLogger(__name__)

NOTED = register("structure.noted", "Noted the rules of the tables")
SCRATCH = "audit_scratch"
OURS = ("audit", "people", "recipes", "stations", "web")
LIBRARIES = ("account", "mfa", "socialaccount")  # of which some tables are governed
KEY, CACHED = "reconciling:structure", 60  # seconds

# Names of constraints and indexes are left out: a renamed table keeps old ones. Those of triggers
# say which function runs; triggers that the migrations' own SQL made are compared in
# audit.capture.installed. Entries are too many to be looked at whenever a rule of theirs changes.
_RULES = """
WITH ours AS (
    SELECT oid, relname FROM pg_class
    WHERE relnamespace = %(schema)s::regnamespace AND relname = ANY(%(tables)s)
)
SELECT t.relname, CASE WHEN t.relname = 'audit_entry'
    THEN replace(pg_get_constraintdef(c.oid), ' NOT VALID', '') ELSE pg_get_constraintdef(c.oid) END
FROM ours t JOIN pg_constraint c ON c.conrelid = t.oid WHERE c.contype IN ('c', 'f', 'p', 'u', 'x')
UNION
SELECT t.relname, regexp_replace(pg_get_indexdef(i.indexrelid),
    '^CREATE UNIQUE INDEX .* USING', 'UNIQUE INDEX USING') ||
    CASE WHEN i.indisvalid THEN '' ELSE ', which does not hold' END
FROM ours t JOIN pg_index i ON i.indrelid = t.oid WHERE i.indisunique
    AND NOT EXISTS (SELECT FROM pg_constraint c WHERE c.conindid = i.indexrelid)
UNION
SELECT t.relname, 'column ' || quote_ident(a.attname) || ' ' || format_type(a.atttypid, a.atttypmod)
    || CASE WHEN a.attnotnull THEN ' NOT NULL' ELSE '' END
    || CASE WHEN a.attgenerated = '' THEN '' ELSE ' GENERATED ' || pg_get_expr(d.adbin, a.attrelid) END
FROM ours t JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
UNION
SELECT t.relname, pg_get_triggerdef(g.oid, true)
FROM ours t JOIN pg_trigger g ON g.tgrelid = t.oid WHERE g.tgname LIKE 'pgtrigger\\_%%'
"""  # noqa: E501


_ADDED = re.compile(r"ALTER TABLE\s+\w+\s+ADD CONSTRAINT\s+(\w+)\s+(?!PRIMARY)[^;]*", re.I)
_DROPPED = re.compile(r"DROP CONSTRAINT\s+(?:IF EXISTS\s+)?(\w+)", re.I)
_VALUE = re.compile(r"'(?:[^']|'')*'::character varying")
_CAST_LIST = re.compile(rf"\(ARRAY\[((?:{_VALUE.pattern}(?:, )?)+)\]\)::text\[\]")


class Rule(NamedTuple):
    """One rule of a table, in the database's own words."""

    table: str
    words: str


def note_structure() -> bool:
    """Keep what the models' rules are, if that is news; whether it was. After migrating."""
    if not _may_make_schemas():
        logger.warning("The rules of the tables are not noted: the owner may make no schema.")
        return False
    rules = [list(rule) for rule in sorted(_made_anew())]
    digest = _digest(rules)
    newest = Structure.objects.order_by("-pk").first()
    if newest and newest.digest == digest == _digest(newest.rules):
        return False
    with recorded(by=None, action=NOTED):
        Structure.objects.create(rules=rules, digest=digest)
    quick.delete(KEY)
    return True


def differences(alias: str = DEFAULT_DB_ALIAS) -> list[str]:
    """What is not as the migrations made it, a sentence each, naming the table."""
    newest = Structure.objects.using(alias).order_by("-pk").first()
    if newest is None:
        return []
    if _digest(newest.rules) != newest.digest:
        return ["audit_structure: the rules kept there are not those that the history knows."]
    should = {_read_again(Rule(*rule)) for rule in newest.rules}
    now = {_read_again(rule) for rule in _rules("public", alias)}
    gone = (f"{table}: this rule is gone or another one: {words}" for table, words in should - now)
    more = (f"{table}: this rule is none of ours: {words}" for table, words in now - should)
    return sorted([*gone, *more])


GUARDS.append(differences)


@register_alarm
def rules_off() -> Iterator[Alarm]:
    """The same, looked at once a minute."""
    for told in quick.get_or_set(KEY, differences, CACHED) or ():
        words = f"The database does not guard itself. {told}"
        yield Alarm(words, reverse("audit:reconciliations"), "stopped")


def _read_again(rule: Rule) -> Rule:
    """The rule as it is told of a database that was made from a dump or a snapshot.

    PostgreSQL moves a cast of a whole list to each of its values when it reads its own words.
    """

    def cast_each(found: re.Match[str]) -> str:
        return f"ARRAY[{', '.join(f'({value})::text' for value in _VALUE.findall(found[1]))}]"

    return rule._replace(words=_CAST_LIST.sub(cast_each, rule.words))


def _digest(rules: list[list[str]]) -> str:
    return sha256(json.dumps(rules).encode()).hexdigest()


def _models() -> list[type[models.Model]]:
    """Those whose tables are looked at: ours, and those of libraries that we govern."""
    governed = {table.name for table in governed_tables()}
    return [
        model
        for model in apps.get_models()
        if not model._meta.proxy
        and (
            model._meta.app_label in OURS
            or (model._meta.app_label in LIBRARIES and model._meta.db_table in governed)
        )
    ]


def _rules(schema: str, alias: str = DEFAULT_DB_ALIAS) -> set[Rule]:
    tables = [model._meta.db_table for model in _models()]
    with transaction.atomic(using=alias), connections[alias].cursor() as cursor:
        cursor.execute("SELECT current_setting('search_path')")
        (path,) = cursor.fetchone()
        cursor.execute("SELECT set_config('search_path', %s, true)", [f"{schema}, public"])
        cursor.execute(_RULES, {"schema": schema, "tables": tables})
        rules = {Rule(*row) for row in cursor.fetchall()}
        cursor.execute("SELECT set_config('search_path', %s, true)", [path])
    return rules


def _may_make_schemas() -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT has_database_privilege(current_database(), 'CREATE')")
        return bool(cursor.fetchone()[0])


def _made_anew() -> set[Rule]:
    """What the database says of the models' tables when they are made anew. Leaves nothing."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"SAVEPOINT {SCRATCH}")
        cursor.execute(f"CREATE SCHEMA {SCRATCH}")
        cursor.execute(f"SET LOCAL search_path = {SCRATCH}, public")
        cursor.execute("SET LOCAL check_function_bodies = off")
        for statement in _statements():
            cursor.execute(statement)
        rules = _rules(SCRATCH)
        cursor.execute(f"ROLLBACK TO SAVEPOINT {SCRATCH}")
    return rules


def _added_by_hand() -> dict[str, str]:
    """Constraints that the migrations' own SQL adds, by name: keys to tables of a folder above.

    Not primary keys, which the models have as well.
    """
    added: dict[str, str] = {}
    for text in migrated_sql():
        added |= {match[1]: match[0] for match in _ADDED.finditer(text)}
        for gone in _DROPPED.findall(text):
            added.pop(gone, None)
    return added


def _statements() -> Iterator[str]:
    """Tables with their constraints, then triggers. All models, for the keys between them."""
    with connection.schema_editor(collect_sql=True, atomic=False) as editor:
        for model in apps.get_models():
            if model._meta.managed and not model._meta.proxy:
                editor.create_model(model)
    made = [str(statement) for statement in editor.collected_sql]
    yield from (statement for statement in made if not statement.startswith("--"))
    yield from _added_by_hand().values()
    for of, trigger in pgtrigger.registered():
        yield str(trigger.compile(of).install_sql)
