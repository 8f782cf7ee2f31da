"""What the history's pages call the columns of placements and read-backs."""

from collections.abc import Iterable, Sequence

from audit.reading.labels import register_label
from audit.registry import register_approval, register_touched
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
    register_touched("stations_controlsettings", _slots_that_hold)


def _slots_that_hold(settings: Sequence[int]) -> Iterable[tuple[int, str, int]]:
    """The slots that should hold these settings now."""
    held = Placement.objects.filter(settings__in=settings, state=Placement.State.IN_FORCE)
    rows = held.values_list("settings_id", "slot_id").distinct()
    return [(settings_id, "slot", slot) for settings_id, slot in rows]
