"""Tastings and water."""

from tests.bad_input.call import FOREIGN, Call, Values, day

TASTING = {"site": "harbour", "method": "triangle", "first_sample": "A", "second_sample": "B",
           "risk": "0.05", "assessments": 24, "seed": "s", "aim": "difference",
           "servings_each": 1}  # fmt: skip
TASTING_BAD: Values = {
    "site": ["", "nowhere"], "method": ["", "guess"], "base": FOREIGN, "other": FOREIGN,
    "second_sample": ["A"], "risk": ["0", "0.6"], "assessments": [0, 501],
    "aim": ["", "guess"], "share": ["0.3", "0", "1"], "servings_each": [0, 21],
}  # fmt: skip
TASTINGS = [
    Call("POST", "shot_fits", "shop_lead", good=202,
         body=lambda t: {"station": t.pk("station"), "version": t.pk("approved")},
         also={"station": FOREIGN, "version": FOREIGN}),
    Call("POST", "tastings", "shop_lead", good=201, also=TASTING_BAD,
         body=lambda t: {**TASTING, "base": t.pk("approved"), "other": t.newest.pk}),
    Call("POST", "tasting_answers", "shop_lead", thing="tasting",
         body=lambda t: {"answers": {"1": ""}, "notes": {}}, named=("answer", "note"),
         also={"notes": [{"x": "1"}, {"1": "loose"}, {"1": "x" * 201}],
               "answers": [{"999": "123"}, {"x": "1"}, {"1": "none"}, {"9" * 5000: ""}]}),
    Call("POST", "tasting_lock", "shop_lead", lambda t: {}, thing="tasting", good=409),
    Call("POST", "tasting_open", "shop_lead", lambda t: {}, thing="tasting", good=409),
    Call("POST", "tasting_attach", "shop_lead", pk=lambda t: t.opened.pk,
         body=lambda t: {"request": t.pk("request"), "version": None},
         also={"request": FOREIGN, "version": [*FOREIGN, 1]}),
]  # fmt: skip

WATER = {"taken_on": day(-3), "ph": "7.2", "hardness_value": "8.5", "hardness_unit": "°dH",
         "alkalinity_value": "2.1", "alkalinity_unit": "meq/L", "dissolved_solids": "210",
         "conductivity": "330", "chloride": "12", "temperature": "18",
         "temperature_unit": "°C", "note": "Filter new"}  # fmt: skip
WATER_BAD: Values = {
    "taken_on": [day(3), "1999-01-01"], "ph": ["15"], "hardness_unit": ["", "kg"],
    "alkalinity_unit": ["", "kg"], "dissolved_solids": ["0"],
    "conductivity": ["0", "20001"], "chloride": ["-1"], "temperature_unit": ["", "kg"],
    "temperature": ["200"],
}  # fmt: skip
WATERS = [
    Call("POST", "water", "technician", lambda t: WATER, thing="site_code", good=201,
         also=WATER_BAD),
]  # fmt: skip
