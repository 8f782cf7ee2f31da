"""Every address with every method, and the roles that may use it: written out, not derived.

H head roaster, L shop lead, B barista, T technician, O owner. A row with ``thing`` is about one
thing of one site: whoever covers that site may, everybody else gets 404.
"""

from dataclasses import dataclass

EVERYBODY = "HLBTO"


@dataclass(frozen=True)
class Row:
    """One address with one method."""

    method: str
    name: str
    may: str
    thing: str = ""  # the key of tests.permissions.world.World that its address names
    sited: bool = False

    @property
    def id(self) -> str:
        """For messages."""
        return f"{self.method} {self.name}"


def pages(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Pages to look at."""
    return [Row("GET", name, may, thing, sited) for name in names]


def forms(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Pages with a form: looked at and sent."""
    return [Row(method, name, may, thing, sited) for name in names for method in ("GET", "POST")]


def posts(may: str, *names: str, thing: str = "", sited: bool = False) -> list[Row]:
    """Addresses that only take what is sent."""
    return [Row("POST", name, may, thing, sited) for name in names]


def calls(methods: str, may: str, name: str, thing: str = "", *, sited: bool = False) -> list[Row]:
    """Endpoints."""
    return [Row(method, name, may, thing, sited) for method in methods.split()]


PAGES = [
    *pages(EVERYBODY, "recipes:coffees", "recipes:recipes", "recipes:publications"),
    *forms("H", "recipes:coffee_add", "recipes:recipe_add"),
    *pages(EVERYBODY, "recipes:coffee", thing="coffee"),
    *forms("H", "recipes:coffee_edit", "recipes:lot_add", thing="coffee"),
    *pages(EVERYBODY, "recipes:recipe", "recipes:compare", thing="recipe"),
    *posts("H", "recipes:draft_first", thing="recipe"),
    *posts("H", "recipes:draft_captured", thing="shot", sited=True),
    *pages(EVERYBODY, "recipes:version", thing="draft"),
    *forms("H", "recipes:version_edit", thing="draft"),
    *posts("H", "recipes:version_submit", "recipes:draft_new", "recipes:version_appraisal",
           thing="draft"),
    *forms("H", "recipes:version_return", "recipes:version_approve", thing="reviewed"),
    *posts("H", "recipes:version_comment", thing="reviewed"),
    *forms("H", "recipes:version_withdraw", thing="approved"),
    *pages("H", "recipes:publish", thing="approved"),
    *forms("H", "recipes:publish_plan", thing="approved"),
    *pages(EVERYBODY, "recipes:publication", "recipes:publication_progress", thing="publication"),
    *pages(EVERYBODY, "recipes:publication", thing="wide_publication"),
    *forms("H", "recipes:publication_stop", "recipes:publication_resume",
           "recipes:publication_cancel", thing="publication"),
    *pages(EVERYBODY, "recipes:permits", "recipes:requests"),
    *forms("HL", "recipes:request_new", thing="?version"),
    *pages(EVERYBODY, "recipes:request", thing="request", sited=True),
    *posts("H", "recipes:request_decide", thing="request", sited=True),
    *forms("H", "recipes:permit_new", thing="?slot", sited=True),
    *pages(EVERYBODY, "recipes:prediction", thing="draft"),
    *posts("HL", "recipes:fit_ask", thing="station", sited=True),
    *pages(EVERYBODY, "recipes:fit_progress", thing="fit", sited=True),
    *pages(EVERYBODY, "recipes:beverage", thing="station", sited=True),
    *pages(EVERYBODY, "stations:water", thing="site", sited=True),
    *forms("HT", "stations:water_add", thing="site", sited=True),
    *pages(EVERYBODY, "stations:charts", thing="station", sited=True),
    *posts("HT", "stations:baseline_freeze", thing="station", sited=True),
    *pages(EVERYBODY, "recipes:tastings"),
    *forms("HL", "recipes:tasting_new"),
    *pages(EVERYBODY, "recipes:tasting", thing="tasting", sited=True),
    *pages("HL", "recipes:tasting_sheets", thing="tasting", sited=True),
    *forms("HL", "recipes:tasting_answers", thing="tasting", sited=True),
    *posts("HL", "recipes:tasting_lock", "recipes:tasting_open", "recipes:tasting_attach",
           thing="tasting", sited=True),
    *pages(EVERYBODY, "recipes:permit", thing="permit", sited=True),
    *pages(EVERYBODY, "recipes:permit", thing="wide_permit"),
    *forms("H", "recipes:permit_end", thing="permit", sited=True),
    *pages(EVERYBODY, "stations:board", "stations:sites", "stations:machine_types"),
    *pages(EVERYBODY, "stations:site", "stations:to_key", thing="site", sited=True),
    *forms("HO", "stations:site_edit", thing="site", sited=True),
    *pages(EVERYBODY, "stations:machine", thing="machine", sited=True),
    *forms("HO", "stations:machine_edit", thing="machine", sited=True),
    *forms("HO", "stations:machine_add", thing="?site", sited=True),
    *forms("HO", "stations:station_add", thing="?machine", sited=True),
    *pages(EVERYBODY, "stations:grinders", thing="site", sited=True),
    *pages(EVERYBODY, "stations:grinder", thing="grinder", sited=True),
    *forms("HO", "stations:grinder_add", thing="?site", sited=True),
    *forms("HO", "stations:grinder_edit", thing="grinder", sited=True),
    *forms("HLBT", "stations:grinder_set", thing="grinder", sited=True),
    *forms("HT", "stations:grinder_work", thing="grinder", sited=True),
    *pages(EVERYBODY, "stations:machine_type", thing="machine_type"),
    *pages(EVERYBODY, "stations:station", "stations:sheet", thing="station", sited=True),
    *forms("HO", "stations:station_edit", thing="station", sited=True),
    *posts("HO", "stations:slots_add", thing="station", sited=True),
    *pages(EVERYBODY, "stations:at", thing="code", sited=True),
    *pages(EVERYBODY, "stations:slot", thing="slot", sited=True),
    *pages("O", "recipes:overwritten", thing="slot", sited=True),
    *pages("O", "recipes:year", thing="site", sited=True),
    *pages("O", "recipes:over_time", thing="recipe"),
    *forms("HL", "stations:read_back", "stations:set_by_hand", thing="slot", sited=True),
    *forms("HLB", "stations:shot_log", thing="slot", sited=True),
    *pages(EVERYBODY, "stations:shot", thing="shot", sited=True),
    *forms("HLB", "stations:shot_correct", thing="shot", sited=True),
    *pages(EVERYBODY, "stations:calibrations"),
    *forms("HT", "stations:calibration_new", thing="station", sited=True),
    *forms("HT", "stations:barometer", thing="site", sited=True),
    *pages(EVERYBODY, "recipes:delivery", thing="slot", sited=True),
    *pages(EVERYBODY, "recipes:calibration", thing="calibration", sited=True),
    *forms("HT", "recipes:calibration_accept", "recipes:calibration_reject",
           thing="calibration", sited=True),
    *forms("HO", "stations:import"),
    *pages("HO", "stations:import_example"),
    *pages("O", "people:list"),
    *pages("O", "people:edit", thing="person"),
    *posts("O", "people:give_role", thing="person"),
    *pages("O", "audit:history"),
    *pages("O", "audit:ledger", "audit:export_json_lines", "audit:export_csv"),
    *pages("O", "audit:entry", thing="entry", sited=True),
    *pages("O", "audit:timeline", thing="timeline", sited=True),
]  # fmt: skip

WIDE_PAGES = [
    *forms("HO", "stations:site_add", "stations:machine_type_add"),
    *forms("HO", "stations:machine_type_edit", thing="machine_type"),
    *forms("H", "recipes:publication_stop", "recipes:publication_resume",
           "recipes:publication_cancel", thing="wide_publication"),
    *forms("H", "recipes:permit_end", thing="wide_permit"),
    *pages("O", "audit:bundle"),
    *forms("O", "audit:intact"),
    *pages("O", "audit:check", thing="check"),
    *forms("O", "audit:reconciliations"),
    *pages("O", "audit:reconciliation", thing="reconciliation"),
    *forms("O", "people:add", "people:policy"),
    *posts("O", "people:edit", "people:deactivate", "people:reactivate", "people:invitation",
           thing="person"),
]  # fmt: skip

ENDPOINTS = [
    *calls("GET", EVERYBODY, "recipes_api:parameters"),
    *calls("GET", EVERYBODY, "recipes_api:work"),
    *calls("GET", EVERYBODY, "recipes_api:coffees"),
    *calls("POST", "H", "recipes_api:coffees"),
    *calls("GET", EVERYBODY, "recipes_api:coffee", "coffee"),
    *calls("PUT", "H", "recipes_api:coffee", "coffee"),
    *calls("GET", EVERYBODY, "recipes_api:lots", "coffee"),
    *calls("POST", "H", "recipes_api:lots", "coffee"),
    *calls("GET", EVERYBODY, "recipes_api:recipes"),
    *calls("POST", "H", "recipes_api:recipes"),
    *calls("GET", EVERYBODY, "recipes_api:recipe", "recipe"),
    *calls("GET", EVERYBODY, "recipes_api:recipe_versions", "recipe"),
    *calls("POST", "H", "recipes_api:recipe_versions", "recipe"),
    *calls("POST", "H", "recipes_api:shot_draft", "shot", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:compare", "recipe"),
    *calls("GET", EVERYBODY, "recipes_api:versions"),
    *calls("GET", EVERYBODY, "recipes_api:version", "draft"),
    *calls("GET", EVERYBODY, "recipes_api:version_formula", "draft"),
    *calls("PUT", "H", "recipes_api:version_formula", "draft"),
    *calls("POST", "H", "recipes_api:version_submit", "draft"),
    *calls("POST", "H", "recipes_api:version_return", "reviewed"),
    *calls("POST", "H", "recipes_api:version_approve", "reviewed"),
    *calls("POST", "H", "recipes_api:version_withdraw", "approved"),
    *calls("GET", EVERYBODY, "recipes_api:version_comments", "reviewed"),
    *calls("POST", "H", "recipes_api:version_comments", "reviewed"),
    *calls("GET", EVERYBODY, "recipes_api:requests"),
    *calls("POST", "HL", "recipes_api:requests"),
    *calls("GET", EVERYBODY, "recipes_api:request", "request", sited=True),
    *calls("POST", "H", "recipes_api:request_accept", "request", sited=True),
    *calls("POST", "H", "recipes_api:request_decline", "request", sited=True),
    *calls("POST", "H", "recipes_api:request_ask_back", "request", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:publications"),
    *calls("POST", "H", "recipes_api:publications"),
    *calls("POST", "H", "recipes_api:publication_plan"),
    *calls("GET", EVERYBODY, "recipes_api:publication", "publication"),
    *calls("GET", EVERYBODY, "recipes_api:publication", "wide_publication"),
    *calls("POST", "H", "recipes_api:publication_stop", "publication"),
    *calls("POST", "H", "recipes_api:publication_resume", "publication"),
    *calls("POST", "H", "recipes_api:publication_cancel", "publication"),
    *calls("GET", EVERYBODY, "stations_api:water", "site_code", sited=True),
    *calls("POST", "HT", "stations_api:water", "site_code", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:shot_fits"),
    *calls("POST", "HL", "recipes_api:shot_fits"),
    *calls("GET", EVERYBODY, "recipes_api:shot_fit", "fit", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:prediction", "fit", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:tastings"),
    *calls("POST", "HL", "recipes_api:tastings"),
    *calls("GET", "HL", "recipes_api:tasting_forecast"),
    *calls("GET", "HL", "recipes_api:tasting_servings", "tasting", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:tasting", "tasting", sited=True),
    *calls("POST", "HL", "recipes_api:tasting_answers", "tasting", sited=True),
    *calls("POST", "HL", "recipes_api:tasting_lock", "tasting", sited=True),
    *calls("POST", "HL", "recipes_api:tasting_open", "tasting", sited=True),
    *calls("POST", "HL", "recipes_api:tasting_attach", "tasting", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:permits"),
    *calls("POST", "H", "recipes_api:permits"),
    *calls("POST", "H", "recipes_api:permit_plan"),
    *calls("GET", EVERYBODY, "recipes_api:permit", "permit", sited=True),
    *calls("POST", "H", "recipes_api:permit_end", "permit", sited=True),
    *calls("GET", EVERYBODY, "stations_api:board"),
    *calls("GET", EVERYBODY, "stations_api:sites"),
    *calls("GET", EVERYBODY, "stations_api:site", "site_code", sited=True),
    *calls("PUT", "HO", "stations_api:site", "site_code", sited=True),
    *calls("GET", EVERYBODY, "stations_api:machine_types"),
    *calls("GET", EVERYBODY, "stations_api:machine_type", "machine_type"),
    *calls("GET", EVERYBODY, "stations_api:machines"),
    *calls("POST", "HO", "stations_api:machines"),
    *calls("GET", EVERYBODY, "stations_api:machine", "machine", sited=True),
    *calls("PUT", "HO", "stations_api:machine", "machine", sited=True),
    *calls("GET", EVERYBODY, "stations_api:grinders", "site_code", sited=True),
    *calls("POST", "HO", "stations_api:grinders", "site_code", sited=True),
    *calls("GET", EVERYBODY, "stations_api:grinder", "grinder", sited=True),
    *calls("PUT", "HO", "stations_api:grinder", "grinder", sited=True),
    *calls("GET", EVERYBODY, "stations_api:grinder_settings", "grinder", sited=True),
    *calls("POST", "HLBT", "stations_api:grinder_settings", "grinder", sited=True),
    *calls("POST", "HT", "stations_api:grinder_works", "grinder", sited=True),
    *calls("GET", EVERYBODY, "stations_api:stations"),
    *calls("POST", "HO", "stations_api:stations"),
    *calls("GET", EVERYBODY, "stations_api:station", "station", sited=True),
    *calls("PUT", "HO", "stations_api:station", "station", sited=True),
    *calls("POST", "HO", "stations_api:station_slots", "station", sited=True),
    *calls("GET", EVERYBODY, "stations_api:slots"),
    *calls("GET", EVERYBODY, "stations_api:slot", "slot", sited=True),
    *calls("GET", EVERYBODY, "stations_api:placements", "slot", sited=True),
    *calls("GET", EVERYBODY, "stations_api:read_backs", "slot", sited=True),
    *calls("POST", "HL", "stations_api:read_backs", "slot", sited=True),
    *calls("POST", "HL", "stations_api:set_by_hand", "slot", sited=True),
    *calls("GET", EVERYBODY, "stations_api:shots", "slot", sited=True),
    *calls("POST", "HLB", "stations_api:shots", "slot", sited=True),
    *calls("GET", EVERYBODY, "stations_api:shot", "shot", sited=True),
    *calls("POST", "HLB", "stations_api:shot_corrections", "shot", sited=True),
    *calls("GET", EVERYBODY, "stations_api:calibrations", "station", sited=True),
    *calls("POST", "HT", "stations_api:calibrations", "station", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:calibration", "calibration", sited=True),
    *calls("GET", "HT", "recipes_api:calibration_plan", "calibration", sited=True),
    *calls("POST", "HT", "recipes_api:calibration_accept", "calibration", sited=True),
    *calls("POST", "HT", "recipes_api:calibration_reject", "calibration", sited=True),
    *calls("GET", EVERYBODY, "stations_api:charts", "station", sited=True),
    *calls("GET", EVERYBODY, "stations_api:baselines", "station", sited=True),
    *calls("POST", "HT", "stations_api:baselines", "station", sited=True),
    *calls("GET", EVERYBODY, "stations_api:capability", "station", sited=True),
    *calls("GET", EVERYBODY, "stations_api:equivalence", "station", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:beverage", "station", sited=True),
    *calls("GET", EVERYBODY, "recipes_api:version_appraisal", "draft"),
    *calls("POST", "H", "recipes_api:version_appraisal", "draft"),
    *calls("GET", EVERYBODY, "recipes_api:predicted_shot", "draft"),
    *calls("POST", "HO", "stations_api:import"),
    *calls("GET", "O", "people_api:people"),
    *calls("GET", "O", "people_api:person", "person"),
    *calls("POST", "O", "people_api:assignments", "person"),
    *calls("GET", EVERYBODY, "people_api:policy"),
    *calls("GET", "O", "audit_api:history"),
    *calls("GET", "O", "audit_api:entry", "entry", sited=True),
    *calls("GET", "O", "audit_api:export_json_lines"),
    *calls("GET", "O", "audit_api:export_csv"),
    *calls("GET", "O", "audit_api:checkpoints"),
    *calls("GET", "O", "audit_api:consistency"),
]

WIDE_ENDPOINTS = [
    *calls("POST", "HO", "stations_api:sites"),
    *calls("POST", "HO", "stations_api:machine_types"),
    *calls("PUT", "HO", "stations_api:machine_type", "machine_type"),
    *calls("POST", "H", "recipes_api:publication_stop", "wide_publication"),
    *calls("POST", "H", "recipes_api:publication_resume", "wide_publication"),
    *calls("POST", "H", "recipes_api:publication_cancel", "wide_publication"),
    *calls("POST", "H", "recipes_api:permit_end", "wide_permit"),
    *calls("POST", "O", "people_api:people"),
    *calls("PUT", "O", "people_api:person", "person"),
    *calls("POST", "O", "people_api:deactivate", "person"),
    *calls("POST", "O", "people_api:reactivate", "person"),
    *calls("POST", "O", "people_api:invitation", "person"),
    *calls("PUT", "O", "people_api:policy"),
    *calls("GET", "O", "audit_api:bundle"),
    *calls("GET POST", "O", "people_api:history_checks"),
    *calls("GET", "O", "people_api:history_check", "check"),
    *calls("GET POST", "O", "people_api:history_reconciliations"),
    *calls("GET", "O", "people_api:history_reconciliation", "reconciliation"),
]

# Addresses that need their own tests, each with the reason why it is not in the table.
ELSEWHERE = {
    "audit:receipt": "needs a sealed history (tests/audit/proving/test_pages.py)",
    "audit:checkpoint": "needs a sealed history (tests/audit/proving/test_pages.py)",
    "audit_api:proof": "needs a sealed history (tests/audit/proving/test_pages.py)",
    "healthz": "for machines that watch: open to all, tells nothing (tests/config)",
    "api_schema": "a description of the API, for people signed in (tests/web)",
    "api_docs": "the same, to read",
    "home": "open to all, and without a role it is empty: test_exceptions.py",
    "people_api:me": "who one is, roles or none (tests/people)",
    "people:take_role": "two things in its address (tests/people)",
    "people:tokens": "one's own tokens (tests/people)",
    "people:token_revoke": "one's own tokens (tests/people)",
    "people_api:assignment": "two things in its address (tests/people)",
    "people_api:tokens": "one's own tokens (tests/people)",
    "people_api:token_revoke": "one's own tokens (tests/people)",
    "web_api:problems": "words for error types, open to all",
    "recipes:request_edit": "the author's alone: test_exceptions.py",
    "recipes:request_rebase": "the author or who decides (tests/recipes)",
    "recipes:request_take_back": "the author's alone: test_exceptions.py",
    "recipes_api:request_rebase": "the author or who decides (tests/recipes)",
    "recipes_api:request_take_back": "the author's alone: test_exceptions.py",
    "stations:former": "leads on to machine types, which ask by themselves",
    "stations:former_one": "leads on to a machine type, which asks by itself",
    "stations_api:settings": "gateways' tokens only (tests/stations)",
    "stations_api:report": "gateways' tokens only (tests/stations)",
}
ELSEWHERE_PREFIXES = {
    "account_": "sign-in itself, by the library (tests/people)",
    "mfa_": "second factors, by the library (tests/people)",
}
