"""How the history shows what was signed of calibrations; their actions are the station's own."""

from audit.registry import register_content, register_subject
from recipes.planning import served
from recipes.recalibration.content import READER, calibration_content


def register() -> None:
    """Called once, when the program starts."""
    register_subject("re_translation", "Calibration", "recipes:calibration")
    register_content("re_translation", calibration_content)
    served.register(READER)
