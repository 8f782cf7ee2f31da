"""The history's tables: its entries, and the ledger over them."""

from audit.capture.models import Entry, Operation
from audit.checking.models import HistoryCheck
from audit.reconciling.models import Baseline, BaselineRow, Carried, Reconciliation, Structure
from audit.retention.models import Archive
from audit.sealing.models import Checkpoint, Leaf, LedgerKey, Node, SealingEvent
from audit.witnessing.models import Cosignature, WitnessEvent

__all__ = [
    "Archive",
    "Baseline",
    "BaselineRow",
    "Carried",
    "Checkpoint",
    "Cosignature",
    "Entry",
    "HistoryCheck",
    "Leaf",
    "LedgerKey",
    "Node",
    "Operation",
    "Reconciliation",
    "SealingEvent",
    "Structure",
    "WitnessEvent",
]
