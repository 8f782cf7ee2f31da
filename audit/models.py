"""The history's tables: its entries, and the ledger over them."""

from audit.capture.models import Entry, Operation
from audit.checking.models import HistoryCheck
from audit.retention.models import Archive
from audit.sealing.models import Checkpoint, Leaf, LedgerKey, Node, SealingEvent

__all__ = [
    "Archive",
    "Checkpoint",
    "Entry",
    "HistoryCheck",
    "Leaf",
    "LedgerKey",
    "Node",
    "Operation",
    "SealingEvent",
]
