"""The comparison itself: one pass over the history and over every governed table."""

import json
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NamedTuple

from django.db import connection, transaction

from audit.capture import installed
from audit.reading.labels import label_of
from audit.reconciling import carrying, replay
from audit.reconciling.naming import names_of, touched_by
from audit.reconciling.report import Difference, Kind, Report
from audit.reconciling.tables import GovernedTable, governed_tables
from audit.registry import registry, whole_of


class Found(NamedTuple):
    """A row of the comparison's SQL."""

    kind: str
    table: str
    row: int
    column: str
    said: str | None
    stands: str | None
    last: int | None
    total: int


def reconcile(
    tables: Sequence[GovernedTable] | None = None, *, alive: Callable[[], object] = lambda: None
) -> Report:
    """Replay the history and compare it with every governed table, signature, key and guard.

    What history and tables say is read in one snapshot, so that work may go on meanwhile. Nothing
    is written. `alive` is called between the parts.
    """
    chosen = governed_tables() if tables is None else tables
    report = Report(tables=len(chosen))
    with _snapshot():
        _count(report, chosen)
        _compare(report, chosen, replay.differences(chosen))
        _compare(report, chosen, replay.unseen(chosen))
        _tell(report, Kind.CARRIED, list(carrying.differences()))
    alive()
    _signatures(report)
    _keys(report)
    alive()
    _guards(report)
    return report


@contextmanager
def _snapshot() -> Iterator[None]:
    """One moment for all that is read; inside somebody else's transaction, as that has it."""
    own = not connection.in_atomic_block
    with transaction.atomic(), connection.cursor() as cursor:
        if own:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SAVEPOINT settings")
        cursor.execute(replay.SETTINGS)
        yield
        cursor.execute("ROLLBACK TO SAVEPOINT settings")


def _count(report: Report, tables: Sequence[GovernedTable]) -> None:
    counts = " + ".join(f"(SELECT count(*) FROM {table.name})" for table in tables)  # noqa: S608
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {counts}, count(*), coalesce(max(id), 0) FROM audit_entry")  # noqa: S608
        report.rows, report.entries, report.through = cursor.fetchone()


def _compare(report: Report, tables: Sequence[GovernedTable], sql: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql)
        rows = [Found(*row) for row in cursor.fetchall()]
    counts: Counter[str] = Counter()
    for (kind, _), total in {(row.kind, row.table): row.total for row in rows}.items():
        counts[kind] += total
    report.add(list(_told(tables, rows)), counts)


def _told(tables: Sequence[GovernedTable], rows: Sequence[Found]) -> Iterator[Difference]:
    names = names_of(tables, [(row.table, row.row, row.last) for row in rows])
    words = {table.name: table.word for table in tables}
    touched = {
        name: touched_by(name, {row.row for row in rows if row.table == name})
        for name in {row.table for row in rows}
    }
    for row in rows:
        named = names[row.table, row.row]
        things = {*touched[row.table][row.row]}
        if named.id is not None:
            things.add((named.type, named.id))
        if named.site_id is not None:
            things.add(("site", named.site_id))
        yield Difference(
            kind=Kind(row.kind),
            table=row.table,
            word=words[row.table],
            row=row.row,
            label=named.label,
            column=row.column,
            column_word=label_of(row.table, row.column).name if row.column else "",
            said=_value(row.said),
            stands=_value(row.stands),
            subject_type=named.type,
            subject_id=named.id,
            site_id=named.site_id,
            entry=row.last,
            touched=tuple(sorted(things)),
        )


def _value(stored: Any) -> str | None:  # noqa: ANN401  jsonb, as the driver gives it
    """A value as text; None where there is none."""
    value = json.loads(stored) if isinstance(stored, str) else stored
    if value is None or isinstance(value, str):
        return value
    return json.dumps(value, ensure_ascii=False, sort_keys=True)


def _signatures(report: Report) -> None:
    found = []
    for signed in registry.signatures():
        report.signatures += 1
        content = whole_of(signed)
        if not content.same:
            found.append(
                Difference(
                    Kind.SIGNATURE,
                    row=signed.pk,
                    label=f"{signed.meaning}: {signed.name}, {signed.role}",
                    subject_type=signed.about,
                    subject_id=signed.about_id,
                    words=content.words,
                    touched=((signed.about, signed.about_id),),
                )
            )
    report.add(found[: replay.KEPT], {Kind.SIGNATURE: len(found)} if found else {})


def _keys(report: Report) -> None:
    found = [
        Difference(
            Kind.KEY,
            label=key.name,
            subject_type="person",
            subject_id=key.person,
            entry=key.entry,
            words=key.words,
            touched=(("person", key.person),),
        )
        for key in registry.passkeys()
    ]
    report.add(found[: replay.KEPT], {Kind.KEY: len(found)} if found else {})


def _guards(report: Report) -> None:
    told = [words for look in installed.GUARDS for words in look(connection.alias)]
    # Those of foreign keys are many: last, or they would hide the others.
    _tell(report, Kind.GUARD, sorted(told, key=lambda words: "RI_ConstraintTrigger" in words))


def _tell(report: Report, kind: Kind, told: Sequence[str]) -> None:
    found = [Difference(kind, words=words) for words in told[: replay.KEPT]]
    report.add(found, {kind: len(told)} if told else {})
