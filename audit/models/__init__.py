"""The history's tables: its entries, and the ledger over them."""

from audit.models.archive import Archive
from audit.models.check import HistoryCheck
from audit.models.entry import Entry, Operation
from audit.models.ledger import Checkpoint, Leaf, LedgerKey, Node

__all__ = [
    "Archive",
    "Checkpoint",
    "Entry",
    "HistoryCheck",
    "Leaf",
    "LedgerKey",
    "Node",
    "Operation",
]
