"""On whose approval a change stands: the signature behind it, or in words that there is none.

Some entries were written under a signature and name it. Of others the row they are about was
signed, perhaps later, as a draft is approved: the packages that have such tables say how to find
it (audit.registry.register_approval). Three queries and one for each such table, whatever is shown.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from audit.capture.models import Entry, Operation
from audit.registry import SignatureShown, registry

NONE_ASKED = "None asked for"


@dataclass(frozen=True, slots=True)
class Approval:
    """The signature that a change stands on; without one, why."""

    signature: SignatureShown | None
    words: str = ""


def approvals_of(entries: Iterable[Entry]) -> Mapping[int, Approval]:
    """By the id of each entry."""
    done = [entry for entry in entries if entry.operation != Operation.REFUSED]
    signed_by = {entry.pk: entry.signature_id for entry in done if entry.signature_id}
    signed_by |= _through_rows(entry for entry in done if not entry.signature_id)
    shown = registry.signed(set(signed_by.values())) if signed_by else {}
    return {entry.pk: _approval(entry, shown.get(signed_by.get(entry.pk, 0))) for entry in done}


def _through_rows(entries: Iterable[Entry]) -> dict[int, int]:
    """Entries whose own row was signed, with the number of that signature."""
    by_table: dict[str, list[Entry]] = {}
    for entry in entries:
        if entry.table_name in registry.approvals and entry.row_id is not None:
            by_table.setdefault(entry.table_name, []).append(entry)
    found: dict[int, int] = {}
    for table, those in by_table.items():
        signatures = registry.approvals[table].signatures({each.row_id or 0 for each in those})
        found |= {
            each.pk: signatures[each.row_id]
            for each in those
            if each.row_id is not None and each.row_id in signatures
        }
    return found


def _approval(entry: Entry, signed: SignatureShown | None) -> Approval:
    if signed:
        return Approval(signed)
    if entry.signature_id:
        return Approval(None, f"Signature {entry.signature_id} can't be found.")
    kind = registry.approvals.get(entry.table_name)
    return Approval(None, kind.without if kind else NONE_ASKED)
