"""Every page that takes a form: what it accepts, and what else it must refuse."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from people.models import Policy
from recipes.permits.plan import make_permit_plan
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.retranslation.plan import make_retranslation_plan
from stations.models import Calibration
from tests.bad_input.calls import day, signed
from tests.bad_input.things import Things

Sent = Mapping[str, str | list[str]]
Values = Mapping[str, Sequence[str | list[str]]]
FOREIGN: Sequence[str] = ("0", "-1", "1000000000", str(2**63), "9" * 30, "9" * 5000, "x", "")


@dataclass(frozen=True)
class Form:
    """One page with a form. Its thing is the world's, unless `pk` says otherwise."""

    name: str
    who: str
    sent: Callable[[Things], Sent]
    thing: str = ""
    pk: Callable[[Things], int] | None = None
    query: Callable[[Things], str] = lambda t: ""
    also: Values = field(default_factory=dict)  # further bad values, by field
    fine: Values = field(default_factory=dict)  # values of a bad kind that are allowed there
    good: int = 302  # what a good form is answered with


def pk_of(thing: str) -> Callable[[Things], str]:
    """A thing's id as a form sends it."""
    return lambda t: str(t.pk(thing))


FORMULA = {
    "dose_mass": "18.0", "dose_mass_below": "0.1", "dose_mass_above": "0.1",
    "beverage_mass": "36.0", "beverage_mass_below": "2", "beverage_mass_above": "2",
    "shot_time": "28", "shot_time_below": "3", "shot_time_above": "3",
    "water_volume": "70", "water_volume_below": "2", "water_volume_above": "2",
    "brew_temperature": "92.5", "brew_temperature_below": "0.5", "brew_temperature_above": "0.5",
    "preinfusion_time": "6", "preinfusion_pressure": "3", "rise_time": "2",
    "intermediate_pressure": "6", "brew_pressure": "9", "taper_start": "70",
    "taper_pressure": "6", "ends_by": "volume", "grind_note": "Two finer", "basket": "18 g",
}  # fmt: skip
ENDS = {"ends_by": ["gravity"], "dose_mass": ["300", "-18"], "dose_mass_below": ["-1"]}
COFFEE = {"name": "Evening blend", "rest_from": "7", "rest_to": "28", "note": "Soft"}
COFFEE_BAD: Values = {"name": ["", "Morning blend"], "rest_from": [""], "rest_to": ["6"]}
STALE = ["0", "999", "2000000001", ""]
REASON: Values = {"reason": ["", " "]}

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
    Form("version_edit", "head_roaster", thing="draft",
         sent=lambda t: {**FORMULA, "revision": "1", "lot": str(t.lot.pk), "note": "Next"},
         also={**ENDS, "lot": FOREIGN[:-1], "revision": STALE}),
    Form("version_submit", "head_roaster", lambda t: {"revision": "1"}, thing="draft",
         also={"revision": STALE}),
    Form("version_return", "head_roaster", thing="reviewed", also={},
         sent=lambda t: {"comment": "Look again", "comment_dose_mass": "Much"}),
    Form("version_comment", "head_roaster", lambda t: {"text": "Much"}, thing="reviewed",
         also={"text": ["", " "]}),
    Form("version_approve", "second_roaster", thing="reviewed", also={"seen_digest": ["0" * 64],
         "password": ["", "wrong"], "email": ["", "barista@example.com"]},
         sent=lambda t: signed(t, "second_roaster",
                               seen_digest=t.version("reviewed").content_digest)),
    Form("version_withdraw", "head_roaster", lambda t: {"reason": "Old"}, thing="approved",
         also=REASON),
]  # fmt: skip


def plan_query(t: Things) -> str:
    """The address of a publication's plan."""
    return f"?where=sites&sites={t.cast.site.pk}&slots=2&date={day(3)}&time=06:30"


def signed_plan(t: Things) -> Sent:
    """The signature under it."""
    moment = datetime.fromisoformat(f"{day(3)}T06:30")
    plan = make_plan(
        version=t.newest, scope=Scope(Where.SITES, (t.cast.site.pk,), (2,)),
        when=When(moment.date(), moment.time()), by=t.cast.head_roaster,
        now=moment.astimezone() - timedelta(days=2),
    )  # fmt: skip
    return signed(t, "head_roaster", seen_digest=plan.digest, reason="New", acknowledged="on")


def permit_query(t: Things) -> str:
    """The address of a permit's plan."""
    chosen = f"slots={t.held.pk}&date={day(3)}&time=06:30&brew_temperature=92.0"
    return f"?slot={t.held.pk}&{chosen}"


def signed_permit(t: Things) -> Sent:
    """The signature under it."""
    ends_at = datetime.fromisoformat(f"{day(3)}T06:30").replace(tzinfo=t.cast.site.zone)
    plan = make_permit_plan(
        slots=[t.held.pk], changes={"brew_temperature": Decimal("92.0")}, ends_at=ends_at,
        by=t.cast.head_roaster,
    )  # fmt: skip
    return signed(t, "head_roaster", seen_digest=plan.digest, reason="Gasket", acknowledged="on")


def accepted(t: Things) -> Sent:
    """The signature under a calibration."""
    calibration = Calibration.objects.get(pk=t.pk("calibration"))
    plan = make_retranslation_plan(calibration=calibration, by=t.cast.head_roaster)
    return signed(t, "head_roaster", seen_digest=plan.digest, seen_revision="1", reason="Yearly")


SIGNATURE: Values = {"password": ["", "wrong"], "email": ["", "barista@example.com"],
                     "seen_digest": ["", "0" * 64]}  # fmt: skip
PROPOSAL = {**FORMULA, "reason": "Sharp", "evidence": "Three shots"}
DECISIONS = [
    Form("request_new", "shop_lead", lambda t: {**PROPOSAL, "site": str(t.cast.site.pk)},
         query=lambda t: f"?version={t.pk('approved')}",
         also={**ENDS, **REASON, "site": [*FOREIGN, "2"]}),
    Form("request_edit", "shop_lead", lambda t: {**PROPOSAL, "revision": "1"}, thing="request",
         also={**ENDS, **REASON, "revision": STALE}),
    Form("request_decide", "head_roaster", thing="request",
         sent=lambda t: {"decision": "decline", "reason": "No", "revision": "1"},
         also={**REASON, "decision": ["", "maybe"], "revision": STALE}),
    Form("request_rebase", "shop_lead", lambda t: {"brew_temperature": "proposed"},
         pk=lambda t: t.overtaken.pk, also={"brew_temperature": ["", "both"]}),
    Form("request_take_back", "shop_lead", lambda t: {}, thing="request"),
    Form("publish_plan", "head_roaster", signed_plan, pk=lambda t: t.newest.pk, query=plan_query,
         also={**SIGNATURE, **REASON}),
    *(Form(name, "head_roaster", lambda t: {"reason": "Wait"}, thing="wide_publication",
           also=REASON, good=409)
      for name in ("publication_stop", "publication_resume", "publication_cancel")),
    Form("permit_new", "head_roaster", signed_permit, query=permit_query,
         also={**SIGNATURE, **REASON}),
    Form("permit_end", "head_roaster", lambda t: {"reason": "Done"}, thing="permit", also=REASON),
    Form("calibration_accept", "head_roaster", accepted, thing="calibration",
         also={**SIGNATURE, "seen_revision": STALE}),
    Form("calibration_reject", "head_roaster", thing="calibration",
         sent=lambda t: {"seen_revision": "1", "reason": "Air"},
         also={**REASON, "seen_revision": STALE}),
]  # fmt: skip

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
        "note": "Sweet"}  # fmt: skip
RUNS = {
    f"run_{row}_{name}": value
    for row, grams in enumerate(("35", "70", "105", "140"), 1)
    for name, value in (("pulses", str(int(grams) * 4)), ("grams", grams), ("temperature", "20"))
}

EQUIPMENT = [
    Form("site_add", "owner", lambda t: {**SITE, "code": "yard"},
         also={**SITE_BAD, "code": ["", "harbour", "Big Yard"]}),
    Form("site_edit", "owner", lambda t: {**SITE, "seen_revision": "1"}, thing="site",
         also={**SITE_BAD, "seen_revision": STALE}),
    Form("ability_set_add", "owner", lambda t: ABILITIES, also=ABILITIES_BAD),
    Form("ability_set_edit", "owner", lambda t: {**ABILITIES, "seen_revision": "1"},
         thing="abilities", also={**ABILITIES_BAD, "seen_revision": STALE}),
    Form("machine_add", "owner", lambda t: {"name": "Side", "abilities": pk_of("abilities")(t)},
         query=lambda t: f"?site={t.pk('site')}", also={"name": ["", "Front"],
         "abilities": FOREIGN}),
    Form("machine_edit", "owner", thing="machine", sent=lambda t: {
         "name": "Side", "abilities": pk_of("abilities")(t), "seen_revision": "1"},
         also={"name": ["", "Back"], "abilities": FOREIGN, "seen_revision": STALE}),
    Form("station_add", "owner", lambda t: {**TRAITS, "number": "9", "slots": "4"},
         query=lambda t: f"?machine={t.pk('machine')}",
         also={"number": ["", "0", "1", "100"], "slots": ["", "0", "33"]}),
    Form("station_edit", "owner", lambda t: {**TRAITS, "seen_revision": "1"}, thing="station",
         also={"seen_revision": STALE, "pulses_per_millilitre": ["0", "5000"]}),
    Form("slots_add", "owner", lambda t: {"total": "4"}, thing="station",
         also={"total": ["", "0", "1", "33"]}),
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
    Form("barometer", "technician", thing="site", sent=lambda t: {
         "seen_revision": "1", "air_pressure": "1003.5", "read_on": day(0)},
         also={"seen_revision": STALE, "read_on": ["", day(3)], "air_pressure": ["399", "1101"]}),
]  # fmt: skip

PEOPLE = [
    Form("add", "owner", lambda t: {"email": "new@example.com", "name": "New lead"},
         also={"email": ["", "owner@example.com"], "name": ["", " "]}),
    Form("edit", "owner", thing="person", sent=lambda t: {
         "email": "new@example.com", "name": "New lead", "revision": "1"},
         also={"email": ["", "owner@example.com"], "name": ["", " "], "revision": STALE}),
    Form("give_role", "owner", lambda t: {"role": "shop_lead", "site": str(t.cast.site.pk)},
         thing="person", also={"role": ["", "king", "barista"], "site": FOREIGN}),
    Form("deactivate", "owner", lambda t: {"revision": "1"}, thing="person",
         also={"revision": STALE}),
    Form("reactivate", "owner", lambda t: {"revision": "1"}, thing="person",
         also={"revision": STALE}),
    Form("invitation", "owner", lambda t: {}, thing="person"),
    Form("policy", "owner", also={"boiling": ["", "freeze"], "revision": STALE,
         "password": ["", "wrong"], "email": ["", "barista@example.com"]},
         sent=lambda t: signed(t, "owner", revision=str(Policy.current().revision),
                               sole_roaster="on", boiling="refuse")),
    Form("tokens", "owner", lambda t: {"name": "Till", "scopes": ["read"], "days": "30"},
         good=200, also={"name": ["", " "], "scopes": [[], ["all"], ["gateway", "read"]],
                         "days": ["", "0", "367"]}),
]  # fmt: skip

FORMS = {
    "recipes": [*DOCUMENTS, *DECISIONS],
    "stations": EQUIPMENT,
    "people": PEOPLE,
}
