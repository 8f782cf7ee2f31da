"""Every endpoint that takes a body: a body that it accepts, and what else it must refuse."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils import timezone

from recipes.api.permits import changes_from
from recipes.permits.plan import make_permit_plan
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.retranslation.plan import make_retranslation_plan
from stations.models import Calibration
from tests.bad_input.things import Things
from tests.cast import PASSWORD
from tests.recipes.calibrating import runs_at

NOWHERE = 10**9
FOREIGN: Sequence[Any] = (0, -1, NOWHERE, 2**63, 10**30, "x", "1; DROP", [], {}, True, 1.5)
Body = Callable[[Things], Any]
Values = Mapping[str, Sequence[Any]]


@dataclass(frozen=True)
class Call:
    """One endpoint with one method. Its thing is the world's, unless `pk` says otherwise."""

    method: str
    name: str
    who: str
    body: Body
    thing: str = ""
    pk: Callable[[Things], Any] | None = None
    also: Values = field(default_factory=dict)  # further bad values, by place
    fine: Values = field(default_factory=dict)  # values of a bad kind that are allowed there
    named: tuple[str, ...] = ()  # other words by which a refusal may name the place
    good: int = 200  # what the body is answered with

    @property
    def id(self) -> str:
        """For messages."""
        return f"{self.method} {self.name}"


def ends_at(days: float = 2) -> str:
    """A moment ahead."""
    return (datetime.now(UTC) + timedelta(days=days)).replace(microsecond=0).isoformat()


def day(days: int) -> str:
    """A day from today."""
    return (timezone.now().date() + timedelta(days=days)).isoformat()


def signed(t: Things, who: str, **rest: object) -> dict[str, Any]:
    """A body with a signature."""
    return {**rest, "email": t.who(who).email, "password": PASSWORD}


REASON: Values = {"reason": ["", " "]}
SIGNATURE: Values = {"password": ["", "wrong"], "email": ["barista@example.com"]}

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
    Call("PUT", "version_formula", "head_roaster", thing="draft", also={**UNKNOWN, "lot": FOREIGN},
         body=lambda t: {"formula": FORMULA, "lot": t.lot.pk, "note": "Next"}),
    Call("POST", "version_submit", "head_roaster", thing="draft", body=lambda t: {}),
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

PROPOSAL = {"brew_temperature": {"target": "92.5", "below": "0.5", "above": "0.5"}}
PROPOSALS: Values = {
    "proposals": [{}, {"colour": {"target": "1"}}, {"brew_temperature": {}}],
    "reason": ["", " "],
}
REQUESTS = [
    Call("POST", "requests", "shop_lead", good=201,
         body=lambda t: {"base": t.pk("approved"), "site": t.cast.site.code, "reason": "Sharp",
                         "evidence": "Three shots", "proposals": PROPOSAL},
         also={**PROPOSALS, "base": FOREIGN, "site": ["", "upland", "nowhere"]}),
    Call("PUT", "request", "shop_lead", thing="request", also=PROPOSALS,
         body=lambda t: {"reason": "Sharp", "evidence": "Shots", "proposals": PROPOSAL}),
    Call("POST", "request_accept", "head_roaster", thing="request", good=201,
         body=lambda t: {"note": "Good"}),
    Call("POST", "request_decline", "head_roaster", thing="request",
         body=lambda t: {"reason": "No"}, also=REASON),
    Call("POST", "request_ask_back", "head_roaster", thing="request",
         body=lambda t: {"reason": "Why?"}, also=REASON),
    Call("POST", "request_rebase", "shop_lead", pk=lambda t: t.overtaken.pk,
         body=lambda t: {"choices": {"brew_temperature": "proposed"}},
         also={"choices": [{}, {"dose_mass": "current"}, {"brew_temperature": "both"}]}),
    Call("POST", "request_take_back", "shop_lead", thing="request", body=lambda t: {}),
]  # fmt: skip


def publication(t: Things, **rest: object) -> dict[str, Any]:
    """A publication's scope and moment."""
    where = {"where": "sites", "ids": [t.cast.site.pk], "slot_numbers": [2]}
    return {"version": t.newest.pk, **where, "date": day(3), "time": "06:30", **rest}


def signed_publication(t: Things) -> dict[str, Any]:
    """The same with the digest of its plan, and the signature."""
    at, who, now = datetime.now(UTC) + timedelta(days=3), t.cast.head_roaster, datetime.now(UTC)
    when = When(at.date(), at.time().replace(hour=6, minute=30, second=0, microsecond=0))
    scope = Scope(Where.SITES, (t.cast.site.pk,), (2,))
    plan = make_plan(version=t.newest, scope=scope, when=when, by=who, now=now)
    sent = publication(t, date=when.local_date.isoformat() if when.local_date else "")
    return signed(t, "head_roaster", **sent, reason="New crop", seen_digest=plan.digest,
                  acknowledged=True)  # fmt: skip


def permit(t: Things) -> dict[str, Any]:
    """A permit's slots, changes and end."""
    changes = {"brew_temperature": "92.0", "ends_by": "volume"}
    return {"slots": [t.held.pk], "changes": changes, "ends_at": ends_at()}


def signed_permit(t: Things) -> dict[str, Any]:
    """The same with the digest of its plan, and the signature."""
    sent, who = permit(t), t.cast.head_roaster
    plan = make_permit_plan(
        slots=sent["slots"], changes=changes_from(sent["changes"]), by=who,
        ends_at=datetime.fromisoformat(sent["ends_at"]),
    )  # fmt: skip
    return signed(t, "head_roaster", **sent, reason="Gasket", seen_digest=plan.digest,
                  acknowledged=True)  # fmt: skip


SCOPE: Values = {
    "version": FOREIGN,
    "where": ["everywhere", "", "stations\x00"],
    "ids": [[], [NOWHERE], [0], [-1], [2**63], [10**30], ["x"], [None], [[1]]],
    "slot_numbers": [[0], [100], ["1 2"], [10**30]],
    "date": ["0001-01-01", "9999-12-31", day(800), None],
    "time": [None, "24:00"],
}
PERMIT: Values = {
    "slots": [[], [NOWHERE], [0], [2**63], [10**30], ["x"]],
    "changes": [{}, {"dose_mass": "18"}, {"colour": "1"}, {"a\x00": "1"}],
    "changes.ends_by": ["gravity", ""],
    "ends_at": [ends_at(-1), ends_at(500), "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-23:00"],
}
SIGNED: Values = {**SIGNATURE, **REASON}

PUBLISHING = [
    Call("POST", "publication_plan", "head_roaster", publication,
         also={**SCOPE, "site": FOREIGN}),
    Call("POST", "publications", "head_roaster", signed_publication, good=201,
         also={**SCOPE, **SIGNED, "seen_digest": ["0" * 64]}),
    Call("POST", "publication_stop", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "Wait"}, also=REASON),
    Call("POST", "publication_resume", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "Go"}, also=REASON),
    Call("POST", "publication_cancel", "head_roaster", thing="wide_publication", good=409,
         body=lambda t: {"reason": "No"}, also=REASON),
    Call("POST", "permit_plan", "head_roaster", permit, also=PERMIT),
    Call("POST", "permits", "head_roaster", signed_permit, good=201,
         also={**PERMIT, **SIGNED, "seen_digest": ["0" * 64]}),
    Call("POST", "permit_end", "head_roaster", thing="permit", body=lambda t: {"reason": "Done"},
         also=REASON),
]  # fmt: skip


def accepted(t: Things) -> dict[str, Any]:
    """The signature under a calibration."""
    calibration = Calibration.objects.get(pk=t.pk("calibration"))
    plan = make_retranslation_plan(calibration=calibration, by=t.cast.head_roaster)
    return signed(t, "head_roaster", reason="Yearly", seen_digest=plan.digest)


CALIBRATIONS = [
    Call("POST", "calibration_accept", "head_roaster", accepted, thing="calibration",
         also={**SIGNATURE, "seen_digest": ["0" * 64]}),
    Call("POST", "calibration_reject", "head_roaster", thing="calibration",
         body=lambda t: {"reason": "Air in it"}, also=REASON),
]  # fmt: skip

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
        "note": "Sweet"}  # fmt: skip
LINE = "yard,Yard,Europe/Lisbon,12,Left,Full,1,4,4.2,-0.5\n"
HEADER = ("site_code,site_name,time_zone,altitude_m,machine,abilities,station,slots,pulses_per_ml,"
          "temperature_offset_c\n")  # fmt: skip
FOUND = {"water_volume": "280", "brew_temperature": "93.5", "ends_by": "volume"}
FOUND_BAD = [{"colour": "x"}, {"a\x00": "1"}, {"water_volume": "18 g"}, {"ends_by": "gravity"}]


def reading(t: Things) -> dict[str, Any]:
    """What a slot was found to hold."""
    return {"placement": t.placement().pk, "found": FOUND}


EQUIPMENT = [
    Call("POST", "sites", "owner", lambda t: {**SITE, "code": "yard"}, good=201,
         also={**SITE_BAD, "code": ["", "harbour", "Big Yard", "ä"]}),
    Call("PUT", "site", "owner", lambda t: SITE, thing="site_code", also=SITE_BAD),
    Call("POST", "ability_sets", "owner", lambda t: ABILITIES, good=201, also=ABILITIES_BAD),
    Call("PUT", "ability_set", "owner", lambda t: ABILITIES, thing="abilities",
         also=ABILITIES_BAD),
    Call("POST", "machines", "owner", good=201,
         body=lambda t: {"site": "harbour", "name": "Side", "abilities": t.pk("abilities")},
         also={"site": ["", "nowhere"], "name": ["", "Front"], "abilities": FOREIGN}),
    Call("PUT", "machine", "owner", thing="machine",
         body=lambda t: {"name": "Side", "abilities": t.pk("abilities")},
         also={"name": ["", "Back"], "abilities": FOREIGN}),
    Call("POST", "stations", "owner", good=201,
         body=lambda t: {"machine": t.pk("machine"), "number": 9, "slots": 4, **STATION},
         also={"machine": FOREIGN, "number": [0, 1, 100], "slots": [0, 33]}),
    Call("PUT", "station", "owner", lambda t: STATION, thing="station",
         also={"pulses_per_millilitre": ["0", "5000"], "temperature_offset": ["16"]}),
    Call("POST", "station_slots", "owner", lambda t: {"total": 4}, thing="station",
         also={"total": [0, 1, 33]}),
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
    Call("POST", "calibrations", "technician", thing="station", good=201,
         body=lambda t: {"kind": "flow_meter", "runs": runs_at("4.2"), "due_on": day(90)},
         also={"kind": ["colour", ""], "runs": [[], [{}], [{"pulses": "1"}], [None]],
               "due_on": [day(-1), "9999-12-31"]}),
]  # fmt: skip

PEOPLE = [
    Call("POST", "people", "owner", good=201,
         body=lambda t: {"email": "new@example.com", "name": "New lead"},
         also={"email": ["", "owner@example.com"], "name": ["", " "]}),
    Call("PUT", "person", "owner", thing="person",
         body=lambda t: {"email": "new@example.com", "name": "New lead"},
         also={"email": ["", "owner@example.com"], "name": ["", " "]}),
    Call("POST", "assignments", "owner", thing="person", good=201,
         body=lambda t: {"role": "shop_lead", "site": t.cast.site.pk},
         also={"role": ["", "king", "barista"], "site": FOREIGN}),
    Call("POST", "deactivate", "owner", lambda t: {}, thing="person"),
    Call("POST", "reactivate", "owner", lambda t: {}, thing="person"),
    Call("POST", "invitation", "owner", lambda t: {}, thing="person", good=201),
    Call("POST", "tokens", "owner", good=201,
         body=lambda t: {"name": "Till", "scopes": ["read"], "days": 30},
         also={"name": ["", " "], "scopes": [[], ["all"], ["gateway", "read"], [None]],
               "days": [0, 367]}),
    Call("PUT", "policy", "owner",
         body=lambda t: signed(t, "owner", sole_roaster=True, boiling="refuse"),
         also={**SIGNATURE, "boiling": ["", "freeze"]}),
]  # fmt: skip

CALLS = {
    "recipes_api": [*DOCUMENTS, *REQUESTS, *PUBLISHING, *CALIBRATIONS],
    "stations_api": EQUIPMENT,
    "people_api": PEOPLE,
}
