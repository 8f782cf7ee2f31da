"""The equipment, and what its slots should hold and were found to hold."""

from stations.models.baseline import ChartBaseline
from stations.models.calibration import Calibration
from stations.models.drift import Drift
from stations.models.equipment import Ability, AbilitySet, Machine, Slot, Station
from stations.models.placement import ControlSettings, Placement
from stations.models.read_back import ReadBack
from stations.models.shot import CheckShot, ShotCorrection, ShotVerdict
from stations.models.site import Site
from stations.models.water import WaterReading

__all__ = [
    "Ability",
    "AbilitySet",
    "Calibration",
    "ChartBaseline",
    "CheckShot",
    "ControlSettings",
    "Drift",
    "Machine",
    "Placement",
    "ReadBack",
    "ShotCorrection",
    "ShotVerdict",
    "Site",
    "Slot",
    "Station",
    "WaterReading",
]
