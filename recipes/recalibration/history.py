"""How the history shows what was signed of calibrations; their actions are the station's own."""

from audit.registry import register_approval, register_content, register_subject
from people.signatures.content import signed_rows
from recipes.planning import served
from recipes.recalibration.content import READER, calibration_content
from stations.calibrations.models import Calibration


def register() -> None:
    """Called once, when the program starts."""
    register_subject("re_translation", "Calibration", "recipes:calibration")
    register_content("re_translation", calibration_content)
    register_approval("stations_calibration", signed_rows(Calibration), "None: only recorded")
    served.register(READER)
