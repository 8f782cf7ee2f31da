"""What the equipment writes to the history, each action in plain words."""

from audit.vocabulary import register

SITE_ADDED = register("site.added", "Added site")
SITE_CHANGED = register("site.changed", "Changed site")
ABILITY_SET_ADDED = register("ability_set.added", "Added abilities")
ABILITY_SET_CHANGED = register("ability_set.changed", "Changed abilities")
MACHINE_ADDED = register("machine.added", "Added machine")
MACHINE_CHANGED = register("machine.changed", "Changed machine")
STATION_ADDED = register("station.added", "Added station")
STATION_CHANGED = register("station.changed", "Changed station")
SLOTS_ADDED = register("slot.added", "Added slots")
SLOT_READ_BACK = register("slot.read_back", "Read back slot")
SLOT_SET_BY_HAND = register("slot.set_by_hand", "Set slot by hand")
EQUIPMENT_IMPORTED = register("equipment.imported", "Imported equipment")
SHOT_LOGGED = register("shot.logged", "Logged check shot")
SHOT_CORRECTED = register("shot.corrected", "Corrected check shot")
CALIBRATION_RECORDED = register("calibration.recorded", "Recorded calibration")
CALIBRATION_REJECTED = register("calibration.rejected", "Rejected calibration")
CALIBRATION_ACCEPTED = register("calibration.accepted", "Accepted calibration")
BAROMETER_READ = register("site.barometer_read", "Read barometer")
WATER_READ = register("site.water_read", "Noted water reading")
BASELINE_FROZEN = register("chart.baseline_frozen", "Froze baseline of control chart")
