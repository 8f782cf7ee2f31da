"""Nodes of the stored tree that were altered, put in or removed are named by the check here."""

import pytest

from audit.checking.tree import check_tree
from audit.ledger.bundle.report import Kind, Report
from audit.sealing.seal import seal
from tests.audit.sealed import shelves, unguarded

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


@pytest.fixture(autouse=True)
def sealed(only_ours: None) -> None:
    """A tree of 21 leaves with all the nodes above them, sealed in three batches."""
    for batch in (5, 8, 7):
        shelves(batch)
        seal()


def told() -> str:
    report = Report()
    check_tree(report)
    assert all(one.kind is Kind.UNREADABLE for one in report.findings)
    return "\n".join(one.words for one in report.findings)


def test_a_whole_tree_says_nothing() -> None:
    assert told() == ""


@pytest.mark.parametrize("level", [1, 2, 3, 4])
def test_an_altered_node_is_named_with_those_above_it(level: int) -> None:
    altered = "UPDATE audit_node SET hashes = sha256(hashes)"
    unguarded(f'{altered} WHERE level = %s AND "offset" = 0', level)
    named = "1 node is" if level == 4 else "2 nodes are"
    assert f"{named} not what lies below in the stored tree: {level}/0" in told()


def test_nodes_put_in_and_removed() -> None:
    unguarded('DELETE FROM audit_node WHERE level = 1 AND "offset" = 2')
    assert "1 node is gone from level 1 of the stored tree" in told()
    unguarded("INSERT INTO audit_node (level, \"offset\", hashes) VALUES (1, 900, sha256(''))")
    assert "1/900" in told()
