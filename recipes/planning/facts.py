"""What is said of a slot in a plan, as facts; sentences are rendered from them here alone.

A translation gives its own refusals and flags; plans add what they find at the slot itself. A
signature binds the facts (``as_json``), so that another wording changes no digest.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from typing import Any

from recipes.station_water.cup import CupNotice, CupReason, fact_words
from stations.metrology.translation import Flag, Notice, Params, Reason, Refusal


class SlotReason(StrEnum):
    """Why a slot gets no placement by this plan, or what becomes of it."""

    PUBLICATION_WAITS = "publication_waits"
    PUBLICATION_DUE = "publication_due"
    NOTHING_HELD = "nothing_held"
    PERMIT_IN_FORCE = "permit_in_force"
    NOT_LOCKED = "not_locked"
    SET_BY_HAND = "set_by_hand"
    NO_VERSION = "no_version"
    ON_PERMIT = "on_permit"
    ON_PERMIT_REFUSED = "on_permit_refused"
    ON_PERMIT_SAME = "on_permit_same"


ON_PERMIT = "On deviation permit {permit}: it keeps its settings until that ends"
SENTENCES = {
    SlotReason.PUBLICATION_WAITS: "publication {publication} already waits for this slot;"
    " let it finish, or stop and cancel it",
    SlotReason.PUBLICATION_DUE: "publication {publication} is about to take over this slot;"
    " let it finish, or stop and cancel it",
    SlotReason.NOTHING_HELD: "nothing is in force at this slot, so there is nothing to differ from",
    SlotReason.PERMIT_IN_FORCE: "permit {permit} is in force at this slot already",
    SlotReason.NOT_LOCKED: "this slot is set by hand and not locked; it needs no permit",
    SlotReason.SET_BY_HAND: "Set by hand: whoever set it decides whether it needs another value.",
    SlotReason.NO_VERSION: "What it holds belongs to no approved version, so it can't be"
    " re-translated.",
    SlotReason.ON_PERMIT: ON_PERMIT + ".",
    SlotReason.ON_PERMIT_REFUSED: ON_PERMIT
    + ", then goes back to what was translated before this calibration.",
    SlotReason.ON_PERMIT_SAME: ON_PERMIT + "; what it goes back to stays the same.",
}


@dataclass(frozen=True, slots=True)
class SlotFact:
    """What a plan finds at a slot: a kind, and the ids it is about as decimals."""

    kind: SlotReason
    given: Params = ()

    def as_json(self) -> dict[str, Any]:
        """Plain data, as a digest binds it."""
        return {"kind": self.kind.value, "params": dict(self.given)}


Fact = Refusal | Flag | SlotFact


def slot_fact(kind: SlotReason, **ids: int | None) -> SlotFact:
    """A fact about the publication or permit of these ids."""
    return SlotFact(kind, tuple((name, str(pk)) for name, pk in ids.items()))


def words(fact: Fact) -> str:
    """The sentence for a fact, as pages and the API say it."""
    if isinstance(fact, SlotFact):
        return SENTENCES[fact.kind].format(**dict(fact.given))
    return fact_words(fact)


@lru_cache(maxsize=16_384)
def canonical(fact: Fact) -> str:
    """The fact as a line of its own, for a hash over many."""
    return json.dumps(fact.as_json(), sort_keys=True, separators=(",", ":"))


# Facts that were stored with a signed plan, read again.


def stored_flag_words(kept: Mapping[str, Any]) -> str:
    """What somebody accepted, in words."""
    kind = _kind(kept, CupNotice, Notice)
    return _name(kept) if kind is None else words(Flag(kept["code"], kind, _given(kept)))


def stored_words(kept: Mapping[str, Any]) -> str:
    """Why a slot was refused, in words."""
    if "code" not in kept:
        mine = _kind(kept, SlotReason)
        return _name(kept) if mine is None else words(SlotFact(SlotReason(mine), _given(kept)))
    kind = _kind(kept, CupReason, Reason)
    return _name(kept) if kind is None else words(Refusal(kept["code"], kind, _given(kept)))


def _kind(kept: Mapping[str, Any], *vocabularies: type[StrEnum]) -> StrEnum | None:
    for vocabulary in vocabularies:
        if kept["kind"] in list(vocabulary):
            return vocabulary(kept["kind"])
    return None


def _name(kept: Mapping[str, Any]) -> str:
    """Of a kind that is known no more, its name."""
    return str(kept["kind"]).replace("_", " ")


def _given(kept: Mapping[str, Any]) -> Params:
    return tuple(kept["params"].items())
