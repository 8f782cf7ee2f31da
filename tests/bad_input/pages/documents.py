"""Coffees, recipes, versions."""

from tests.bad_input.call import day, signed
from tests.bad_input.form import ENDS, FOREIGN, FORMULA, REASON, STALE, Form, Values

COFFEE = {"name": "Evening blend", "rest_from": "7", "rest_to": "28", "note": "Soft"}
COFFEE_BAD: Values = {"name": ["", "Morning blend"], "rest_from": [""], "rest_to": ["6"]}

DOCUMENTS = [
    Form("coffee_add", "head_roaster", lambda t: COFFEE, also=COFFEE_BAD),
    Form("coffee_edit", "head_roaster", lambda t: {**COFFEE, "name": "House lungo",
         "revision": "1"}, pk=lambda t: t.overtaken.base.recipe.coffee_id,
         also={**COFFEE_BAD, "revision": STALE}),
    Form("lot_add", "head_roaster", thing="coffee", also={"code": ["", "A1"], "roasted_on": [
         "", day(5), "1999-01-01"], "rest_to": ["4"]},
         sent=lambda t: {"code": "B2", "roasted_on": day(-3), "rest_from": "5", "rest_to": "20"}),
    Form("recipe_add", "head_roaster",
         sent=lambda t: {"coffee": str(t.pk("coffee")), "drink": "Long"},
         also={"coffee": FOREIGN, "drink": ["", "Double espresso"]}),
    Form("draft_first", "head_roaster", lambda t: {}, thing="recipe"),
    Form("draft_new", "head_roaster", lambda t: {}, thing="draft"),
    Form("draft_captured", "head_roaster", lambda t: {}, thing="shot"),
    Form("version_move", "head_roaster", lambda t: {"revision": "1", "current": "1"}, thing="draft",
         also={"revision": STALE, "current": FOREIGN}, good=409),
    Form("version_edit", "head_roaster", thing="draft",
         sent=lambda t: {**FORMULA, "revision": "1", "lot": str(t.lot.pk), "note": "Next"},
         also={**ENDS, "lot": FOREIGN[:-1], "revision": STALE}),
    Form("variant_edit", "head_roaster", lambda t: {**FORMULA, "revision": "1"}, thing="variant",
         also={**ENDS, "revision": STALE}),
    Form("variant_remove", "head_roaster", lambda t: {"revision": "1"}, thing="variant",
         also={"revision": STALE}),
    Form("variant_draft", "head_roaster", lambda t: {}, thing="variant"),
    Form("version_submit", "head_roaster", lambda t: {"revision": "1"}, thing="draft",
         also={"revision": STALE}),
    Form("version_return", "head_roaster", thing="reviewed", also={},
         sent=lambda t: {"comment": "Look again", "comment_dose_mass": "Much",
                         "revision": str(t.version("reviewed").revision)}),
    Form("version_comment", "head_roaster", lambda t: {"text": "Much"}, thing="reviewed",
         also={"text": ["", " "]}),
    Form("version_approve", "second_roaster", thing="reviewed", also={"seen_digest": ["0" * 64],
         "password": ["", "wrong"], "email": ["", "barista@example.com"]},
         sent=lambda t: signed(t, "second_roaster",
                               seen_digest=t.version("reviewed").content_digest)),
    Form("version_withdraw", "head_roaster", thing="approved", also={**REASON, "revision": STALE},
         sent=lambda t: {"reason": "Old", "revision": str(t.version("approved").revision)}),
]  # fmt: skip
