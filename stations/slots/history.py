"""What the history's pages call the columns of placements and read-backs."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import Any

from django.db.models import Exists, OuterRef, Q
from django.db.models.fields.json import KeyTransform

from audit.reading.labels import register_label
from audit.registry import (
    Carrier,
    Quantity,
    register_approval,
    register_carrier,
    register_overview,
    register_touched,
)
from people.signatures.content import signed_rows
from stations.slots.bases import WORDS
from stations.slots.models import Placement


def register() -> None:
    """Called once, when the program starts."""
    register_label("stations_controlsettings", "values", "Settings")
    register_label("stations_controlsettings", "content_digest", "Digest of the formula")
    register_label("stations_placement", "basis", "Under", values=WORDS)
    register_label("stations_placement", "basis_id", "Which", kind_column="basis")
    register_approval("stations_placement", signed_rows(Placement), "None: set by hand")
    register_label("stations_readback", "found", "Found")
    register_label("stations_readback", "verdicts", "Verdict on each")
    register_overview("stations:board")
    register_touched("stations_controlsettings", _slots_that_hold)
    register_carrier("stations_controlsettings", Carrier(_among("values")))
    register_carrier("stations_readback", Carrier(_among("verdicts")))
    register_carrier("stations_placement", Carrier(_placed_with, _set_to, _begins))


def _among(column: str) -> Callable[[str], Q]:
    """Entries whose new value of a column has the parameter's code among its keys."""
    return lambda code: Q(**{f"changes__{column}__1__has_key": code})


def _placed_with(code: str) -> Q:
    """Entries about placements whose settings say something of the parameter."""
    rows = Placement.objects.filter(pk=OuterRef("row_id"), settings__values__has_key=code)
    return Q(Exists(rows))


def _begins(changes: Mapping[str, Any]) -> bool:
    """Whether this is the moment from which on the slot should hold it."""
    return bool(changes.get("state", [None, None])[1] == Placement.State.IN_FORCE)


def _set_to(placements: Collection[int], code: str) -> Mapping[int, Quantity]:
    """What the slots of these placements are set to."""
    rows = Placement.objects.filter(pk__in=placements).annotate(
        said=KeyTransform(code, "settings__values")
    )
    return {
        pk: Quantity(str(said["value"]), str(said.get("unit", "")))
        for pk, said in rows.values_list("pk", "said")
        if said
    }


def _slots_that_hold(settings: Sequence[int]) -> Iterable[tuple[int, str, int]]:
    """The slots that should hold these settings now."""
    held = Placement.objects.filter(settings__in=settings, state=Placement.State.IN_FORCE)
    rows = held.values_list("settings_id", "slot_id").distinct()
    return [(settings_id, "slot", slot) for settings_id, slot in rows]
