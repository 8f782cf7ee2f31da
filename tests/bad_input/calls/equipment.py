"""Sites, machines, stations, slots and what is measured at them."""

from typing import Any

from tests.bad_input.call import FOREIGN, REASON, Call, Values, day
from tests.bad_input.things import Things
from tests.recipes.calibrating import runs_at

SITE = {"name": "Station yard", "time_zone": "Europe/Lisbon", "altitude": "12.5"}
SITE_BAD: Values = {"name": ["", "Upland"], "time_zone": ["", "Mars/Crater"], "altitude": ["9000"]}
REACH = {"parameter": "brew_temperature", "minimum": "85", "maximum": "98", "resolution": "0.1"}
ABILITIES = {"name": "Three boilers", "ends_by": ["volume"], "abilities": [REACH]}
ABILITIES_BAD: Values = {
    "name": ["", "Plain"],
    "ends_by": [[], ["gravity"], [None]],
    "abilities": [[REACH, REACH], [{}], [None]],
    "abilities.0.parameter": ["", "colour"],
    "abilities.0.maximum": ["84"],
    "abilities.0.resolution": ["0"],
}
STATION = {"pulses_per_millilitre": "4.2", "temperature_offset": "-0.5"}
SHOT = {"dose_mass": "18.0", "beverage_mass": "36.5", "shot_time": "28", "strength": "9.1",
        "note": "Sweet", "taste": "sour", "body": "thin"}  # fmt: skip
GRINDER = {"name": "Decaf", "finer": "lower", "step": "0.5", "marks_per_turn": "50",
           "micrometres_per_mark": "12"}  # fmt: skip
GRINDER_BAD: Values = {
    "name": ["", "Harbour grinder"], "finer": ["", "left"], "step": ["0", "-1"],
    "marks_per_turn": ["0"], "micrometres_per_mark": ["0"], "stations": [None, [0], ["x"]],
}  # fmt: skip
LINE = "yard,Yard,Europe/Lisbon,12,Left,Full,1,4,4.2,-0.5\n"
HEADER = ("site_code,site_name,time_zone,altitude_m,machine,machine_type,station,slots,"
          "pulses_per_ml,temperature_offset_c\n")  # fmt: skip
FOUND = {"water_volume": "280", "brew_temperature": "93.5", "ends_by": "volume"}
FOUND_BAD = [{"colour": "x"}, {"a\x00": "1"}, {"water_volume": "18 g"}, {"ends_by": "gravity"}]


def reading(t: Things) -> dict[str, Any]:
    """What a slot was found to hold."""
    return {"placement": t.placement().pk, "found": FOUND}


EQUIPMENT = [
    Call("POST", "sites", "owner", lambda t: {**SITE, "code": "yard"}, good=201,
         also={**SITE_BAD, "code": ["", "harbour", "Big Yard", "ä"]}),
    Call("PUT", "site", "owner", lambda t: SITE, thing="site_code", also=SITE_BAD),
    Call("POST", "machine_types", "owner", lambda t: ABILITIES, good=201, also=ABILITIES_BAD),
    Call("PUT", "machine_type", "owner", lambda t: ABILITIES, thing="machine_type",
         also=ABILITIES_BAD),
    Call("POST", "machines", "owner", good=201,
         body=lambda t: {"site": "harbour", "name": "Side", "machine_type": t.pk("machine_type")},
         also={"site": ["", "nowhere"], "name": ["", "Front"], "machine_type": FOREIGN}),
    Call("PUT", "machine", "owner", thing="machine",
         body=lambda t: {"name": "Side", "machine_type": t.pk("machine_type")},
         also={"name": ["", "Back"], "machine_type": FOREIGN}),
    Call("POST", "stations", "owner", good=201,
         body=lambda t: {"machine": t.pk("machine"), "number": 9, "slots": 4, **STATION},
         also={"machine": FOREIGN, "number": [0, 1, 100], "slots": [0, 33]}),
    Call("POST", "station_slots", "owner", lambda t: {"total": 4}, thing="station",
         also={"total": [0, 1, 33]}),
    Call("POST", "grinders", "owner", thing="site_code", good=201,
         body=lambda t: {**GRINDER, "setting": "12.5", "stations": [t.pk("station")]},
         also={**GRINDER_BAD, "name": [""], "setting": ["1001"]}),
    Call("PUT", "grinder", "owner", thing="grinder",
         body=lambda t: {**GRINDER, "stations": [t.pk("station")]},
         also={**GRINDER_BAD, "name": [""]}),
    Call("POST", "grinder_settings", "barista", thing="grinder", good=201,
         body=lambda t: {"setting": "11", "reason": "Slow", "seen_event": t.grinder_event()},
         also={**REASON, "setting": ["1001"], "seen_event": FOREIGN}),
    Call("POST", "grinder_works", "technician", thing="grinder", good=201,
         body=lambda t: {"setting": "11", "reason": "Worn", "kind": "burrs",
                         "serial_number": "A7", "seen_event": t.grinder_event()},
         also={**REASON, "setting": ["1001"], "seen_event": FOREIGN, "kind": ["set", ""]}),
    Call("POST", "notes", "barista", lambda t: {"text": "Milk is low", "edits": None},
         thing="site_code", good=201, also={"text": ["", "x" * 1001], "edits": FOREIGN}),
    Call("POST", "notes_read", "barista", lambda t: {"until": t.note()}, thing="site_code",
         also={"until": FOREIGN}),
    Call("PUT", "opening_check", "shop_lead", thing="site_code",
         body=lambda t: {"shots": 2, "counts_from": "05:00", "opens_at": "07:00", "slots": "1"},
         also={"shots": [7, -1], "counts_from": ["", "25:00"], "opens_at": ["05:00"],
               "slots": ["0", "x"]}),
    Call("POST", "lots", "barista", thing="site_code", good=201,
         body=lambda t: {"grinder": t.pk("grinder"), "station": None, "code": "A1", "coffee": "",
                         "seen_opening": t.pk("opening"), "confirmed": False, "reason": ""},
         also={"grinder": FOREIGN, "station": FOREIGN, "code": ["", "nothing"],
               "coffee": ["Nothing"], "seen_opening": FOREIGN}),
    Call("POST", "import", "owner", lambda t: {"csv": HEADER + LINE, "preview": True},
         named=("file", "header", "line"),
         also={"csv": ["", "a,b\n1,2", HEADER, HEADER + "harbour\n", HEADER * 2,
                       HEADER + LINE * 2, HEADER + LINE.replace("12,", "12 m,")]}),
    Call("POST", "read_backs", "shop_lead", reading, pk=lambda t: t.held.pk, good=201,
         also={"placement": FOREIGN, "found": FOUND_BAD}),
    Call("POST", "set_by_hand", "shop_lead", lambda t: {"values": FOUND}, pk=lambda t: t.free.pk,
         good=201, also={"values": FOUND_BAD}),
    Call("POST", "shots", "barista", lambda t: SHOT, pk=lambda t: t.held.pk, good=201),
    Call("POST", "shot_corrections", "barista", thing="shot",
         body=lambda t: {**SHOT, "reason": "Tare", "left_out": False, "seen_corrections": 0},
         also={**REASON, "seen_corrections": [1, 30_000]}),
    Call("POST", "baselines", "technician", thing="station", good=201,
         body=lambda t: {"content": t.content(), "value": "beverage_mass", "reason": "New burrs",
                         "newest": 2},
         also={**REASON, "newest": [0, 1, 201], "content": ["", "0" * 64, "x" * 65],
               "value": ["colour", "", "strength"]}),
    Call("POST", "kept_charts", "shop_lead", thing="station", good=201,
         body=lambda t: {"content": t.content(), "value": "beverage_mass", "rules": "nelson",
                         "seen": t.chart()},
         also={"content": ["", "0" * 64, "x" * 65], "value": ["colour", "", "strength"],
               "rules": ["", "all"], "seen": ["", "0" * 64, "x"]}),
    Call("POST", "replacements", "technician", thing="site_code", good=201,
         body=lambda t: {"part": "probe", "station": t.pk("station"), "machine": None,
                         "seen": None, "at": "2026-01-05T09:30:00Z", "reason": "Worn",
                         "old_serial": "A", "new_serial": "B"},
         also={**REASON, "part": ["", "gasket", "pump"], "station": FOREIGN, "machine": FOREIGN,
               "at": ["", "2999-01-01T00:00:00Z", "soon"], "seen": [0]}),
    Call("POST", "calibrations", "technician", thing="station", good=201,
         body=lambda t: {"kind": "flow_meter", "runs": runs_at("4.2"), "due_on": day(90)},
         also={"kind": ["colour", ""], "runs": [[], [{}], [{"pulses": "1"}], [None]],
               "due_on": [day(-1), "9999-12-31"], "value": ["4.1", "x"]}),
]  # fmt: skip
