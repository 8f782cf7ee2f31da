"""The equipment, and what its slots should hold and were found to hold."""

from stations.calibrations.models import Calibration
from stations.causes.models import CauseFinding, CauseRun
from stations.charts.models import ChartBaseline, Drift, KeptChart
from stations.equipment.models import Machine, Site, Slot, Station
from stations.equipment.replaced import Part, Replacement
from stations.gateways.differences import Difference, GatewayPolicy
from stations.gateways.inbox import GatewayEvent, SlotSeen, StationContact
from stations.gateways.models import Gateway, GatewayKey, GatewayStatus
from stations.grinders.models import EventKind, Finer, Grinder, GrinderEvent, GrinderStation
from stations.handover.models import HandoverNote, HandoverRead
from stations.lots.models import LotOpening
from stations.machine_types.models import Ability, MachineType
from stations.opening.models import OpeningPolicy
from stations.shots.models import CheckShot, ShotCorrection, ShotVerdict
from stations.slots.models import ControlSettings, Placement, ReadBack
from stations.water.models import WaterReading

__all__ = [
    "Ability",
    "Calibration",
    "CauseFinding",
    "CauseRun",
    "ChartBaseline",
    "CheckShot",
    "ControlSettings",
    "Difference",
    "Drift",
    "EventKind",
    "Finer",
    "Gateway",
    "GatewayEvent",
    "GatewayKey",
    "GatewayPolicy",
    "GatewayStatus",
    "Grinder",
    "GrinderEvent",
    "GrinderStation",
    "HandoverNote",
    "HandoverRead",
    "KeptChart",
    "LotOpening",
    "Machine",
    "MachineType",
    "OpeningPolicy",
    "Part",
    "Placement",
    "ReadBack",
    "Replacement",
    "ShotCorrection",
    "ShotVerdict",
    "Site",
    "Slot",
    "SlotSeen",
    "Station",
    "StationContact",
    "WaterReading",
]
