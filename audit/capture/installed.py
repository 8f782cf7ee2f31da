"""Whether the database still guards itself as the migrations made it.

Whoever owns the tables can switch a trigger off, or put another function behind it: from then on
the program's own role changes what was approved, without an entry. So what is installed is
compared with what the models' triggers and the migrations' own SQL say.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

import pgtrigger
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.operations import RunSQL
from django.db.migrations.operations.base import Operation
from django.urls import reverse

from audit.alarms import Alarm, register_alarm

# pg_trigger.tgtype, by PostgreSQL's include/catalog/pg_trigger.h.
ROW, BEFORE = 1, 2
EVENTS = {"INSERT": 4, "DELETE": 8, "UPDATE": 16, "TRUNCATE": 32}

_FUNCTION = re.compile(
    r"CREATE (?:OR REPLACE )?FUNCTION\s+(?P<name>\w+)\s*\((?P<head>(?:(?!\bAS\s+\$).)*?)"
    r"\bAS\s+(?P<tag>\$\w*\$)(?P<body>.*?)(?P=tag)(?P<tail>[^;]*);",
    re.S | re.I,
)
_DROPPED = re.compile(r"DROP FUNCTION (?:IF EXISTS )?(\w+)", re.I)
_TRIGGER = re.compile(
    r"^\s*CREATE TRIGGER\s+(?P<name>\w+)\s+(?P<when>BEFORE|AFTER)\s+(?P<events>[\w\s]+?)\s+ON\s+"
    r"\"?(?P<table>\w+)\"?(?P<rest>[^;]*?)EXECUTE (?:FUNCTION|PROCEDURE)\s+(?P<function>\w+)",
    re.S | re.I | re.M,
)


@dataclass(frozen=True, slots=True)
class Function:
    """The text that runs, and whether it runs as its owner and on a search path of its own."""

    body: str
    as_owner: bool
    own_path: bool


@dataclass(frozen=True, slots=True)
class Trigger:
    """When it fires (the bits of tgtype), what it calls, under a condition or not."""

    fires: int
    function: str
    conditional: bool
    transitions: tuple[str, str]


@dataclass(frozen=True)
class Guards:
    """Triggers by table and name, functions by name."""

    triggers: Mapping[tuple[str, str], Trigger]
    functions: Mapping[str, Function]


@lru_cache(maxsize=1)
def expected() -> Guards:
    """What the migrations make of an empty database, by the code of this program."""
    triggers: dict[tuple[str, str], Trigger] = {}
    functions: dict[str, Function] = {}
    for text in migrated_sql():
        for gone in _DROPPED.findall(text):
            functions.pop(gone, None)
        functions |= _functions(text)
        triggers |= _triggers(text)
    for model, trigger in pgtrigger.registered():
        text = trigger.compile(model).install_sql
        functions |= _functions(text)
        triggers |= _triggers(text)
    return Guards(triggers, functions)


def migrated_sql() -> Iterator[str]:
    """The SQL of all migrations, in an order in which they may run."""
    graph = MigrationLoader(None, ignore_no_migrations=True).graph
    done: set[tuple[str, str]] = set()
    for leaf in sorted(graph.leaf_nodes()):
        for key in graph.forwards_plan(leaf):
            if key not in done:
                done.add(key)
                for operation in graph.nodes[key].operations:
                    yield from _sql_of(operation)


def _sql_of(operation: Operation) -> Iterator[str]:
    if isinstance(operation, RunSQL):
        parts = [operation.sql] if isinstance(operation.sql, str) else list(operation.sql)
        for part in parts:
            yield part if isinstance(part, str) else str(part[0])


def _functions(text: str) -> dict[str, Function]:
    found = {}
    for match in _FUNCTION.finditer(text):
        around = f"{match['head']} {match['tail']}".upper()
        found[match["name"].lower()] = Function(
            match["body"], "SECURITY DEFINER" in around, "SET SEARCH_PATH" in around
        )
    return found


def _triggers(text: str) -> dict[tuple[str, str], Trigger]:
    return {
        (match["table"], match["name"]): Trigger(
            fires=_fires(match),
            function=match["function"],
            conditional=re.search(r"\bWHEN\b", match["rest"]) is not None,
            transitions=(_referenced("OLD", match["rest"]), _referenced("NEW", match["rest"])),
        )
        for match in _TRIGGER.finditer(text)
    }


def _fires(match: re.Match[str]) -> int:
    events = sum(bit for event, bit in EVENTS.items() if event in match["events"].upper())
    level = ROW if re.search(r"FOR EACH ROW", match["rest"], re.I) else 0
    return events + level + (BEFORE if match["when"].upper() == "BEFORE" else 0)


def _referenced(which: str, rest: str) -> str:
    found = re.search(rf"\b{which} TABLE (?:AS )?(\w+)", rest, re.I)
    return found[1] if found else ""


# What is installed.

# Clones of a whole table's row triggers on its partitions are named after those; on the foreign
# keys' own triggers only whether they are on is asked.
_INSTALLED = """
SELECT c.relname, t.tgname, t.tgenabled = 'O', t.tgisinternal, t.tgtype, p.proname,
    t.tgqual IS NOT NULL, coalesce(t.tgoldtable, ''), coalesce(t.tgnewtable, ''),
    coalesce(w.relname, '')
FROM pg_trigger t
JOIN pg_class c ON c.oid = t.tgrelid AND c.relnamespace = 'public'::regnamespace
JOIN pg_proc p ON p.oid = t.tgfoid
LEFT JOIN pg_inherits i ON i.inhrelid = c.oid AND c.relispartition
LEFT JOIN pg_class w ON w.oid = i.inhparent
"""
_RUNNING = """
SELECT proname, prosrc, prosecdef, proconfig::text ~ 'search_path='
FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND proname = ANY(%s)
"""
_PARTITIONS = """
SELECT c.relname, w.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid
JOIN pg_class w ON w.oid = i.inhparent
WHERE c.relkind = 'r' AND c.relnamespace = 'public'::regnamespace
"""
_ELSEWHERE = """
SELECT current_setting('session_replication_role'),
    (SELECT count(*) FROM pg_rules WHERE schemaname = 'public')
"""


@dataclass(frozen=True)
class Installed:
    """What the database says of itself."""

    triggers: Mapping[tuple[str, str], Trigger]
    off: frozenset[tuple[str, str]]
    functions: Mapping[str, Function]
    whole: Mapping[str, str]  # by partition, the table it is a part of
    role: str
    rules: int


def installed(alias: str = DEFAULT_DB_ALIAS) -> Installed:
    """Read it: four statements."""
    names = list(expected().functions)
    with connections[alias].cursor() as cursor:
        cursor.execute(_INSTALLED)
        rows = cursor.fetchall()
        cursor.execute(_RUNNING, [names])
        functions = {row[0]: Function(row[1], row[2], bool(row[3])) for row in cursor.fetchall()}
        cursor.execute(_PARTITIONS)
        whole = dict(cursor.fetchall())
        cursor.execute(_ELSEWHERE)
        role, rules = cursor.fetchone()
    return Installed(
        {(r[0], r[1]): Trigger(r[4], r[5], r[6], (r[7], r[8])) for r in rows if not r[3]},
        frozenset((r[0], r[1]) for r in rows if not r[2]),
        functions, whole, role, rules,
    )  # fmt: skip


# The comparison.


def differences(alias: str = DEFAULT_DB_ALIAS) -> list[str]:
    """What is not as the migrations made it, a sentence each, naming table and trigger."""
    return sorted({*_of_triggers(installed(alias), expected())})


GUARDS: list[Callable[[str], Iterable[str]]] = [differences]
"""Everything by which a database may be found not to guard itself: sentences each, by its alias."""


@register_alarm
def guards_off() -> Iterator[Alarm]:
    """What of the guards is off or another one: changes may leave no entry."""
    for told in differences():
        words = f"The database does not guard itself. {told}"
        yield Alarm(words, reverse("audit:ledger"), "stopped")


def _of_triggers(now: Installed, should: Guards) -> Iterator[str]:
    wanted = {**should.triggers, **_of_partitions(now, should)}
    for (table, name), trigger in wanted.items():
        there = now.triggers.get((table, name))
        if there is None:
            yield f"{table}: trigger {name} is gone."
        elif there != trigger:
            yield f"{table}: trigger {name} is another one."
    for table, name in now.off:
        yield f"{table}: trigger {name} is switched off."
    for table, name in now.triggers.keys() - wanted.keys():
        yield f"{table}: trigger {name} is none of ours."
    calls = {trigger.function: at for at, trigger in wanted.items()}
    for name, function in should.functions.items():
        if now.functions.get(name) != function:
            table, trigger_name = calls.get(name, ("", ""))
            by = f", which {table}'s trigger {trigger_name} calls," if table else ""
            yield f"Function {name}{by} is {'another one' if name in now.functions else 'gone'}."
    if now.role != "origin":
        yield f"Every trigger stands aside: session_replication_role is {now.role}."
    if now.rules:
        yield f"There are {now.rules} rewrite rules, and should be none."


def _of_partitions(now: Installed, should: Guards) -> dict[tuple[str, str], Trigger]:
    """A partition has the row triggers of the whole, and one that refuses to empty it."""
    wanted = {}
    for part, whole in now.whole.items():
        for (table, name), trigger in should.triggers.items():
            if table == whole and trigger.fires & ROW:
                wanted[part, name] = trigger
            elif table == whole and trigger.fires & EVENTS["TRUNCATE"]:
                wanted[part, _without_hash(name)] = trigger
    return wanted


def _without_hash(name: str) -> str:
    """The plain name of a trigger: audit_guard_partition gives it that."""
    return name.removeprefix("pgtrigger_").rpartition("_")[0]
