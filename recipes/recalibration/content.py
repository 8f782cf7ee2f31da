"""Calibrations: what was measured and what accepting it changed, as it was seen."""

from collections.abc import Collection, Iterator, Mapping
from typing import Any

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import Seen, as_seen, content_shown
from recipes.planning.content import Said, slots_moved
from recipes.planning.plan import RE_TRANSLATION
from recipes.planning.served import Ahead, Reader, Varied
from stations.calibrations.models import Calibration
from stations.slots.models import Placement


def calibration_content(signed: SignatureShown) -> ContentShown:
    """Of a calibration and the plan of accepting it."""
    accepted = Calibration.objects.filter(pk=signed.about_id).first()
    if accepted is None:
        return content_shown(["the calibration is gone"])
    return as_seen(signed, lambda seen: _moved(accepted, seen, signed.digest))


def _moved(accepted: Calibration, seen: Seen, digest: str) -> Iterator[str]:
    numbers = (accepted.value, accepted.uncertainty, accepted.repeatability)
    if accepted.plan_digest != digest:
        yield "the plan it names"
    if (accepted.kind, accepted.runs) != (seen["kind"], seen["runs"]):
        yield "the runs"
    if accepted.answers != seen.get("answers", []):
        yield "what was asked and answered"
    if accepted.typed_because != seen.get("typed_because", ""):
        yield "why it was typed in"
    if [None if one is None else format(one, "f") for one in numbers] != seen["values"]:
        yield "the result"
    if accepted.due_on.isoformat() != seen["due_on"]:
        yield "when it is to be repeated"
    planned = _planned(seen)
    yield from slots_moved(RE_TRANSLATION, accepted.pk, planned, _variants(seen))
    yield from _ahead_moved(accepted, seen)


def _ahead_moved(accepted: Calibration, seen: Seen) -> Iterator[str]:
    """Whether what waited was given other settings than were seen."""
    planned = _planned_ahead(seen)
    placed = Placement.objects.filter(signature=accepted.signature_id)
    rows = placed.exclude(basis=RE_TRANSLATION.basis).values_list(
        "slot_id", "settings__values", "settings__content_digest", "settings__variant_id"
    )
    if any(planned.get(slot) != (values, *content) for slot, values, *content in rows):
        yield "the settings of what waited"


def _planned_ahead(seen: Seen) -> dict[int, tuple[Any, str, int | None]]:
    """Of each slot (id) for which something waited: settings, its recipe's digest, the variant."""
    return {
        line[1]: (line[3], line[5], line[6] if len(line) > 6 else None)
        for line in seen.get("waiting", [])
    }


def _said_ahead(seen: Seen) -> Ahead:
    planned = _planned_ahead(seen)
    return lambda slot: planned.get(slot, (None, "", None))


def _planned(seen: Seen) -> dict[int, Any]:
    """The settings of each slot (id); None where it gets no others."""
    return {line[0]: line[3] for line in seen["slots"]}


def _variants(seen: Seen) -> dict[int, int]:
    """The machine type whose variant each slot (id) keeps, where it holds one."""
    return {line[0]: line[6] for line in seen["slots"] if len(line) > 6}


def _varied(seen: Seen) -> Varied:
    variants = _variants(seen)
    return lambda slot, _: variants.get(slot)


def _said(seen: Seen) -> Said:
    planned = _planned(seen)
    return lambda slot, _: planned.get(slot)


def _digests(ids: Collection[int]) -> Mapping[int, str]:
    return dict(Calibration.objects.filter(pk__in=ids).values_list("pk", "plan_digest"))


READER = Reader(RE_TRANSLATION, _digests, _said, variant=_varied, ahead=_said_ahead)
