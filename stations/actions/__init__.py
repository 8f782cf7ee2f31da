"""Every change of the equipment, one function each."""

from stations.actions.abilities import Reach, add_ability_set, change_ability_set
from stations.actions.calibrations import (
    record_barometer,
    record_calibration,
    reject_calibration,
)
from stations.actions.hand import set_by_hand
from stations.actions.importing import import_equipment
from stations.actions.machines import add_machine, change_machine
from stations.actions.reading import read_back
from stations.actions.reporting import Reading, Reported, report_read_backs
from stations.actions.shots import correct_shot, log_shot
from stations.actions.sites import add_site, change_site
from stations.actions.stations import add_slots, add_station, change_station

__all__ = [
    "Reach",
    "Reading",
    "Reported",
    "add_ability_set",
    "add_machine",
    "add_site",
    "add_slots",
    "add_station",
    "change_ability_set",
    "change_machine",
    "change_site",
    "change_station",
    "correct_shot",
    "import_equipment",
    "log_shot",
    "read_back",
    "record_barometer",
    "record_calibration",
    "reject_calibration",
    "report_read_backs",
    "set_by_hand",
]
