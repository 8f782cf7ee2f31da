"""Coffees, recipes, versions."""

from tests.bad_input.call import FOREIGN, REASON, SIGNATURE, Call, Values, day, signed

FORMULA = {
    "dose_mass": {"target": "18.0", "below": "0.1", "above": "0.1", "unit": "g"},
    "beverage_mass": {"target": "36.0", "below": "2", "above": "2"},
    "water_volume": {"target": "70", "below": "2", "above": "2"},
    "brew_temperature": {"target": "93.0", "below": "0.5", "above": "0.5"},
    "ends_by": {"text": "volume"},
    "grind_note": {"text": "Two finer"},
}
UNKNOWN: Values = {
    "formula": [{"colour": {"text": "brown"}}, {"a\x00": {"text": "x"}}, {"": {"text": "x"}}],
    "formula.dose_mass": [{"targt": "18"}, {"below": "1"}, {"text": "18"}],
    "formula.dose_mass.unit": ["kg", "", "Cel"],
    "formula.ends_by.text": ["gravity"],
}
COFFEE = {"name": "Evening blend", "rest_from": 7, "rest_to": 28, "note": "Soft"}
COFFEE_BAD: Values = {
    "name": ["", "Morning blend"], "rest_from": [100_000], "rest_to": [6, 366_000],
}  # fmt: skip

DOCUMENTS = [
    Call("POST", "coffees", "head_roaster", lambda t: COFFEE, good=201,
         also=COFFEE_BAD),
    Call("PUT", "coffee", "head_roaster", also=COFFEE_BAD,
         body=lambda t: {**COFFEE, "name": t.overtaken.base.recipe.coffee.name},
         pk=lambda t: t.overtaken.base.recipe.coffee_id),
    Call("POST", "lots", "head_roaster", thing="coffee", good=201,
         body=lambda t: {"code": "B2", "roasted_on": day(-3), "rest_from": 5, "rest_to": 20},
         also={"code": ["", "A1"], "roasted_on": [day(5), "1999-01-01"], "rest_to": [4]}),
    Call("POST", "recipes", "head_roaster", good=201,
         body=lambda t: {"coffee": t.pk("coffee"), "drink": "Long"},
         also={"coffee": FOREIGN, "drink": ["", "Double espresso"]}),
    Call("POST", "recipe_versions", "head_roaster", thing="recipe", good=201,
         body=lambda t: {"based_on": t.pk("approved"), "lot": t.lot.pk, "note": "Next"},
         also={"based_on": FOREIGN, "lot": FOREIGN}),
    Call("POST", "shot_draft", "head_roaster", lambda t: {}, thing="shot", good=201,
         also={"recipe": FOREIGN}),
    Call("POST", "version_move", "head_roaster", thing="draft", good=409,
         body=lambda t: {"current": 1, "choices": {}}, also={"current": FOREIGN}),
    Call("PUT", "version_formula", "head_roaster", thing="draft", also={**UNKNOWN, "lot": FOREIGN},
         body=lambda t: {"formula": FORMULA, "lot": t.lot.pk, "note": "Next"}),
    Call("PUT", "variant", "head_roaster", thing="variant", also=UNKNOWN,
         body=lambda t: {"formula": FORMULA}),
    Call("POST", "version_appraisal", "head_roaster", thing="draft", also=UNKNOWN,
         body=lambda t: {"formula": FORMULA}),
    Call("POST", "version_submit", "head_roaster", thing="draft",
         body=lambda t: {"answers": {}},
         also={"answers": [{"colour": "Why"}, {"brew_ratio": ""}, {"a\x00": "x"}]}),
    Call("POST", "version_return", "head_roaster", thing="reviewed",
         body=lambda t: {"comments": {"": "Look again", "dose_mass": "Much"}},
         also={"comments": [{}, {"": ""}, {"colour": "x"}, {"a\x00": "x"}]}),
    Call("POST", "version_approve", "second_roaster", thing="reviewed",
         body=lambda t: signed(t, "second_roaster", digest=t.version("reviewed").content_digest),
         also={**SIGNATURE, "digest": ["0" * 64]}),
    Call("POST", "version_withdraw", "head_roaster", thing="approved",
         body=lambda t: {"reason": "Stale crop"}, also=REASON),
    Call("POST", "version_comments", "head_roaster", thing="reviewed", good=201,
         body=lambda t: {"text": "Much", "code": "dose_mass"},
         also={"text": ["", " "], "code": ["colour"]}),
]  # fmt: skip
