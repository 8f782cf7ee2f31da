"""Tastings, water, control charts."""

from recipes.tastings.result import session
from tests.bad_input.call import day
from tests.bad_input.form import FOREIGN, REASON, STALE, Form
from tests.bad_input.things import Things

TASTING = {"method": "triangle", "first_sample": "A", "second_sample": "B", "risk": "0.05",
           "assessments": "24", "share": "0.4", "seed": "s", "keep": "on", "aim": "difference",
           "servings_each": "1"}  # fmt: skip
TASTINGS = [
    Form("fit_ask", "shop_lead", lambda t: {"version": str(t.version("approved").pk)},
         thing="station"),
    Form("tasting_new", "shop_lead", also={
         "site": FOREIGN, "method": ["", "guess"], "base": FOREIGN[:-1], "other": FOREIGN[:-1],
         "second_sample": ["A"], "risk": ["", "0", "0.6"], "assessments": ["", "0", "501"],
         "share": ["", "0", "1.5"],
         "aim": ["", "guess"], "servings_each": ["", "0", "21"]},
         sent=lambda t: {**TASTING, "site": str(t.cast.site.pk), "base": str(t.pk("approved")),
                         "other": str(t.newest.pk)}),
    Form("tasting_answers", "shop_lead", lambda t: {"answer_1": answer(t), "note_1": "Sharp.",
                                                    "revision": "1"},
         thing="tasting", also={"answer_1": ["none"], "note_1": ["x" * 201], "revision": STALE}),
    Form("tasting_lock", "shop_lead", lambda t: {"revision": "1"}, thing="tasting", good=409,
         also={"revision": [""]}),
    Form("tasting_open", "shop_lead", lambda t: {"revision": "1"}, thing="tasting", good=409,
         also={"revision": [""]}),
    Form("tasting_attach", "shop_lead", pk=lambda t: t.opened.pk,
         sent=lambda t: {"evidence_for": f"request:{t.pk('request')}",
                         "revision": str(t.opened.revision)},
         also={"revision": STALE,
               "evidence_for": ["", "request:0", "request:x", "version:", "request:" + "9" * 30]}),
]  # fmt: skip


def answer(t: Things) -> str:
    """A cup of the tasting's first serving."""
    tasting = t.tasting()
    return next(serving.codes[0] for serving in session(tasting) if serving.number == 1)


WATER = {"taken_on": day(-3), "ph": "7.2", "hardness_value": "8.5", "hardness_unit": "°dH",
         "alkalinity_value": "2.1", "alkalinity_unit": "meq/L", "dissolved_solids": "210",
         "conductivity": "330", "chloride": "12",
         "temperature": "18", "temperature_unit": "°C", "note": "Filter new"}  # fmt: skip
MEASURING = [
    Form("water_add", "technician", lambda t: WATER, thing="site", also={
         "taken_on": ["", day(3), "1999-01-01"], "ph": ["15"], "conductivity": ["0", "20001"],
         "chloride": ["-1"], "hardness_unit": ["", "kg"],
         "alkalinity_unit": ["", "kg"], "dissolved_solids": ["0"], "temperature_unit": ["", "kg"],
         "temperature": ["200"]}),
    Form("baseline_freeze", "technician", thing="station", sent=lambda t: {
         "reason": "New burrs", "content": t.version("approved").content_digest,
         "value": "shot_time", "newest": "20"}, also={**REASON, "value": ["", "colour"],
         "newest": ["", "1", "201", "x"]}),
    Form("chart_keep", "shop_lead", thing="station", sent=lambda t: {
         "content": t.content(), "value": "beverage_mass", "rules": "nelson", "seen": t.chart()},
         also={"value": ["", "colour"], "rules": ["", "all"], "seen": ["", "0" * 64, "x"]}),
]  # fmt: skip
