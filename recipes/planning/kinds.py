"""The three kinds of signed plan, and what stations are told of them."""

from dataclasses import dataclass

from people.persons.verbs import Verb
from people.signatures.models import Meaning
from stations.slots import bases
from stations.slots.models import PlacementManner

Manner = PlacementManner


@dataclass(frozen=True)
class Kind:
    """What tells one kind of plan from the others: what its placements are under, who may sign."""

    basis: str
    manner: PlacementManner
    meaning: Meaning
    verb: Verb


PUBLICATION = Kind("publication", Manner.TAKES_OVER, Meaning.PUBLISHED, Verb.PUBLICATION_SIGN)
PERMIT = Kind("permit", Manner.STEPS_IN, Meaning.PERMITTED, Verb.PERMIT_GRANT)
RE_TRANSLATION = Kind(
    "re_translation", Manner.RENEWS, Meaning.RE_TRANSLATED, Verb.CALIBRATION_RECORD
)

LABELS = (
    (PUBLICATION, "publication", "recipes:publication"),
    (PERMIT, "deviation permit", "recipes:permit"),
    (RE_TRANSLATION, "re-translation after calibration", "recipes:calibration"),
)


def register() -> None:
    """Called once, when the program starts."""
    for kind, label, address in LABELS:
        bases.register(bases.Basis(kind.basis, label, kind.manner, address))
