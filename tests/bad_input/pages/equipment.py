"""Sites, machines, stations, slots."""

from tests.bad_input.call import day
from tests.bad_input.form import FOREIGN, REASON, STALE, Form, Sent, Values, pk_of
from tests.bad_input.things import Things

SITE = {"name": "Station yard", "time_zone": "Europe/Lisbon", "altitude": "12.5"}
SITE_BAD: Values = {
    "name": ["", "Upland"], "time_zone": ["", "Mars/Crater"], "altitude": ["", "9000", "-431"],
}  # fmt: skip
SETS = ("water_volume", "brew_temperature")
REACH = {"minimum": "85", "maximum": "95", "resolution": "0.5"}
ABILITIES: Sent = {
    "name": "Three boilers", "ends_by": ["volume", "operator"],
    **{f"{code}.{part}": value for code in SETS for part, value in REACH.items()},
    "water_volume.resolution": "1",
}  # fmt: skip
ABILITIES_BAD: Values = {
    "name": ["", "Plain"], "ends_by": [[], ["gravity"], ["volume", "x\x00"]],
    "brew_temperature.minimum": ["", "96"], "brew_temperature.resolution": ["0", "-1"],
}  # fmt: skip
TRAITS = {"pulses_per_millilitre": "4.2", "temperature_offset": "-0.5"}
FOUND = {"water_volume": "280", "brew_temperature": "93.5", "ends_by": "volume"}
SHOT = {"dose_mass": "18.0", "beverage_mass": "36.5", "shot_time": "28", "strength": "9.1",
        "note": "Sweet", "taste": "sour", "body": "thin"}  # fmt: skip
GRINDER: Sent = {"name": "Decaf", "finer": "lower", "step": "0.5", "marks_per_turn": "50",
                 "micrometres_per_mark": "12", "stations": []}  # fmt: skip
GRINDER_BAD: Values = {
    "name": [""], "finer": ["", "left"], "step": ["", "0", "-1"], "marks_per_turn": ["0"],
    "micrometres_per_mark": ["0"], "stations": [["0"], ["x"]],
}  # fmt: skip
RUNS = {
    f"run_{row}_{name}": value
    for row, grams in enumerate(("35", "70", "105", "140"), 1)
    for name, value in (("pulses", str(int(grams) * 4)), ("grams", grams), ("temperature", "20"))
}


def _replaced(where: str, part: str) -> Form:
    def sent(_: Things) -> Sent:
        return {
            "part": part, "day": day(-1), "time": "09:30", "old_serial": "A", "new_serial": "B",
            "reason": "Worn",
        }  # fmt: skip

    return Form(f"{where}_replaced", "technician", sent, thing=where, also={
        **REASON, "part": ["", "gasket"], "day": ["", day(3)], "time": ["", "25:00"],
        "seen": [number for number in FOREIGN if number],
    })  # fmt: skip


EQUIPMENT = [
    Form("site_add", "owner", lambda t: {**SITE, "code": "yard"},
         also={**SITE_BAD, "code": ["", "harbour", "Big Yard"]}),
    Form("site_edit", "owner", lambda t: {**SITE, "revision": "1"}, thing="site",
         also={**SITE_BAD, "revision": STALE}),
    Form("gateways", "shop_lead", lambda t: {"name": "Second box"}, thing="site", good=200,
         also={"name": ["", " ", "box"]}),
    Form("gateway_policy", "owner", thing="site", sent=lambda t: {
         "revision": "1", "restores": "on", "most": "3", "silent_minutes": "10"},
         also={"revision": STALE, "most": ["", "0", "21"], "silent_minutes": ["", "1", "1441"]}),
    Form("gateway_code", "shop_lead", lambda t: {"revision": "1"}, thing="gateway", good=200,
         also={"revision": STALE}),
    Form("gateway_revoke", "shop_lead", lambda t: {"revision": "1"}, thing="gateway",
         also={"revision": STALE}),
    Form("machine_type_add", "owner", lambda t: ABILITIES, also=ABILITIES_BAD),
    Form("machine_type_edit", "owner", lambda t: {**ABILITIES, "revision": "1"},
         thing="machine_type", also={**ABILITIES_BAD, "revision": STALE}),
    Form("machine_add", "owner",
         lambda t: {"name": "Side", "machine_type": pk_of("machine_type")(t)},
         query=lambda t: f"?site={t.pk('site')}", also={"name": ["", "Front"],
         "machine_type": FOREIGN}),
    Form("machine_edit", "owner", thing="machine", sent=lambda t: {
         "name": "Side", "machine_type": pk_of("machine_type")(t), "revision": "1"},
         also={"name": ["", "Back"], "machine_type": FOREIGN, "revision": STALE}),
    Form("station_add", "owner", lambda t: {**TRAITS, "number": "9", "slots": "4"},
         query=lambda t: f"?machine={t.pk('machine')}",
         also={"number": ["", "0", "1", "100"], "slots": ["", "0", "33"]}),
    Form("figure_new", "technician", thing="station", sent=lambda t: {
         "value": "4.1", "reason": "Papers", "due_on": day(90)},
         also={**REASON, "value": ["", "0", "5000", "0.25"], "due_on": ["", day(-1)]}),
    Form("slots_add", "owner", lambda t: {"total": "4"}, thing="station",
         also={"total": ["", "0", "1", "33"]}),
    Form("grinder_add", "owner", lambda t: {**GRINDER, "setting": "12.5"},
         query=lambda t: f"?site={t.pk('site')}", also={**GRINDER_BAD, "setting": ["", "1001"]}),
    Form("grinder_edit", "owner", lambda t: {**GRINDER, "revision": "1"}, thing="grinder",
         also={**GRINDER_BAD, "revision": STALE}),
    Form("grinder_set", "barista", thing="grinder", sent=lambda t: {
         "setting": "11", "reason": "Slow", "seen_event": str(t.grinder_event())},
         also={**REASON, "setting": ["", "1001"], "seen_event": FOREIGN}),
    Form("grinder_work", "technician", thing="grinder", sent=lambda t: {
         "setting": "11", "reason": "Worn", "kind": "burrs", "serial_number": "A7",
         "seen_event": str(t.grinder_event())},
         also={**REASON, "setting": ["", "1001"], "kind": ["set", ""], "seen_event": FOREIGN}),
    Form("opening_set", "shop_lead", thing="site", sent=lambda t: {
         "revision": "0", "shots": "2", "counts_from": "05:00", "opens_at": "07:00", "slots": "1"},
         also={"shots": ["", "7", "-1"], "counts_from": ["", "25:00"], "opens_at": ["05:00"],
               "slots": ["0", "x", "99"]}),
    Form("handover", "barista", lambda t: {"text": "Milk is low", "edits": ""}, thing="site",
         also={"text": ["", "x" * 1001], "edits": FOREIGN[:-1]}),
    Form("handover_read", "barista", lambda t: {"until": str(t.note())}, thing="site",
         also={"until": ["", *FOREIGN]}),
    Form("finding", "shop_lead", lambda t: {"revision": "1", "given": "scale", "note": ""},
         thing="finding", also={"revision": STALE, "given": ["", "gremlins"], "note": ["x" * 501]}),
    Form("finding_settle", "shop_lead", lambda t: {"revision": "1", "note": "Another basket"},
         thing="finding", good=409, also={"revision": STALE, "note": ["", "x" * 501]}),
    Form("lot_open", "barista", thing="grinder", sent=lambda t: {
         "code": "A1", "coffee": "", "reason": "", "seen_opening": str(t.pk("opening"))},
         also={"code": ["", "nothing"], "coffee": ["Nothing"], "seen_opening": FOREIGN}),
    Form("lot_open_at_station", "barista", lambda t: {"code": "A1"}, thing="station",
         also={"code": ["", "nothing"]}),
    Form("lot_close", "barista", lambda t: {"seen_open": "on"}, thing="opening"),
    Form("read_back", "shop_lead", pk=lambda t: t.held.pk,
         sent=lambda t: {**FOUND, "seen_placement": str(t.placement().pk)},
         also={"seen_placement": FOREIGN, "ends_by": ["gravity"]}),
    Form("set_by_hand", "shop_lead", lambda t: FOUND, pk=lambda t: t.free.pk,
         also={"ends_by": ["gravity"], "water_volume": ["9000"]}),
    Form("shot_log", "barista", lambda t: SHOT, pk=lambda t: t.held.pk,
         also={"dose_mass": ["", "0", "500"]}),
    Form("shot_correct", "barista", thing="shot", sent=lambda t: {
         **SHOT, "reason": "Tare", "seen_corrections": "0"},
         also={**REASON, "seen_corrections": ["1", "", "30001"]}),
    Form("calibration_new", "technician", lambda t: {**RUNS, "due_on": day(90)}, thing="station",
         also={"due_on": ["", day(-1), "9999-12-31"], "run_1_grams": [""],
               "table": ["1 2 3", "x\ty\tz\n" * 4, "1 2 3\n" * 200]}),
    *(_replaced(*each) for each in (("station", "probe"), ("machine", "pump"), ("site", "filter"))),
    Form("barometer", "technician", thing="site", sent=lambda t: {
         "revision": "1", "air_pressure": "1003.5", "read_on": day(0)},
         also={"revision": STALE, "read_on": ["", day(3)], "air_pressure": ["399", "1101"]}),
]  # fmt: skip
