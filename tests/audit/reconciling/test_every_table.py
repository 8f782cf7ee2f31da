"""What somebody does past the triggers to any governed table is found, with its column."""

import pytest

from audit.reconciling.reconcile import reconcile
from audit.reconciling.report import Difference, Kind
from audit.reconciling.tables import GovernedTable, governed_tables
from tests.audit.reconciling.tampering import Tamperer

pytestmark = pytest.mark.django_db

every_table = pytest.mark.parametrize(
    "table", [pytest.param(table, id=table.name) for table in governed_tables()]
)


def found(table: GovernedTable, row: int) -> list[Difference]:
    """What is said of this row."""
    told = reconcile([table]).differences
    return [one for one in told if one.table == table.name and one.row == row]


def test_every_governed_table_is_compared() -> None:
    names = [table.name for table in governed_tables()]
    assert len(names) == len(set(names)) > 40
    assert {"people_user", "mfa_authenticator", "stations_controlsettings"} <= set(names)


@every_table
def test_whatever_is_done_to_it_unseen_is_named(table: GovernedTable) -> None:
    tamperer = Tamperer(table)
    row = tamperer.make_row(seen=True)
    assert found(table, row) == []
    columns = {column.name for column in table.every}
    for column in columns:
        tamperer.alter(row, column)
    altered = found(table, row)
    assert {one.column for one in altered} == columns
    assert {one.kind for one in altered} == {Kind.ALTERED}
    assert all(one.said != one.stands and one.word and one.column_word for one in altered)
    for column in columns:
        tamperer.clear(row, column)
    cleared = found(table, row)
    assert {one.column for one in cleared} == columns
    assert {one.stands for one in cleared} == {None}
    tamperer.empty()
    assert [one.kind for one in found(table, row)] == [Kind.LOST]
    unmade = tamperer.make_row(seen=False)
    assert [one.kind for one in found(table, unmade)] == [Kind.UNMADE]
