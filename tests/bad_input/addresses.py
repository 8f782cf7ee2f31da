"""What stands in addresses: pages' filters and keys, and values that none of them can be."""

from dataclasses import dataclass, field

from tests.bad_input.values import LONG, NUL, PAST_ALL_LIMITS

NO_KEY = ["x", "-1", "1.5", "1e3", "²", "9" * 30, PAST_ALL_LIMITS, NUL, "%FF"]
NO_NUMBER = ["x", "18 kg", "NaN", "1e3", "1,8,0", "9" * 30, PAST_ALL_LIMITS, NUL]
NO_DAY = ["x", "2026-02-30", "99999-01-01", "0000-00-00", NUL, LONG]
NO_CHOICE = ["nothing", "-1", NUL, LONG, PAST_ALL_LIMITS]
NO_TEXT = [NUL, LONG]
NO_TIME = ["noon", "25:00", NUL]
WHOLE_IDS = [*NO_KEY[:-1], "1000000000"]


@dataclass(frozen=True)
class Asked:
    """A page and what its address may ask; `rest` is what else the address needs."""

    name: str
    bad: dict[str, list[str]]
    thing: str = ""
    rest: dict[str, str] = field(default_factory=dict)


KEYED = {"after": NO_KEY, "before": NO_KEY}
NAMED = {"after": [NUL, LONG], "before": [NUL, LONG]}  # any other text is a place between names
FILTER = {
    "site": NO_CHOICE, "about": NO_CHOICE, "person": NO_CHOICE, "action": NO_CHOICE,
    "parameter": NO_CHOICE, "subject": [*NO_TEXT, "no such thing"],
    "since": [*NO_DAY, "1999-01-01"], "until": [*NO_DAY, "2999-01-01"],
}  # fmt: skip
SCOPE = {
    "which": NO_CHOICE, "where": ["everywhere", *NO_CHOICE], "sites": WHOLE_IDS,
    "slots": [*NO_NUMBER, "0", "100", "77"],
    "date": [*NO_DAY, "2020-01-01", "9999-12-31"], "time": NO_TIME,
}  # fmt: skip
ROASTERS = [
    Asked("recipes:menu", {"q": NO_TEXT}, "menu"),
    Asked("recipes:publication", {"q": NO_TEXT}, "publication"),
    Asked("recipes:publication_progress", {"q": NO_TEXT}, "publication"),
    Asked("recipes:publications", {**KEYED, "state": NO_CHOICE, "recipe": WHOLE_IDS,
                                   "site": WHOLE_IDS}),
    Asked("recipes:permits", KEYED),
    Asked("recipes:tastings", KEYED),
    Asked("recipes:compare", {"old": WHOLE_IDS, "new": WHOLE_IDS}, "recipe",
          {"old": "1", "new": "2"}),
    Asked("recipes:request_new", {"version": WHOLE_IDS}),
    Asked("recipes:request_new", {"slot": WHOLE_IDS}),
    Asked("recipes:permit_new", {"request": WHOLE_IDS}),
    Asked("recipes:permit_ask", {"slot": WHOLE_IDS}),
    *(Asked("recipes:request_evidence", {name: WHOLE_IDS})
      for name in ("shot", "read_back", "chart", "tasting")),
    Asked("recipes:permit_new", {"slot": WHOLE_IDS, "site": WHOLE_IDS}),
    Asked("recipes:permit_new", {"slots": WHOLE_IDS, "date": [*NO_DAY, "2020-01-01", "9999-12-31"],
          "time": NO_TIME, "brew_temperature": [*NO_NUMBER, "300"], "ends_by": NO_CHOICE},
          "?slot", {"date": "2026-12-01", "time": "06:30", "brew_temperature": "92"}),
    Asked("recipes:publish", SCOPE, "approved",
          {"which": "every", "where": "sites", "date": "2026-12-01", "time": "06:30"}),
    Asked("recipes:publish_plan", SCOPE, "approved",
          {"which": "every", "where": "sites", "date": "2026-12-01", "time": "06:30"}),
    Asked("recipes:publish_plan", {"machines": WHOLE_IDS}, "approved",
          {"which": "every", "where": "machines"}),
    Asked("recipes:publish_plan", {"stations": WHOLE_IDS}, "approved",
          {"which": "every", "where": "stations"}),
    Asked("recipes:grid", {
        **NAMED, "q": NO_TEXT, "coffee": WHOLE_IDS, "recipe": WHOLE_IDS, "state": NO_CHOICE,
        "as_of": [*NO_DAY, "2999-01-01", "9999-12-31"], "since": [*NO_DAY, "2999-01-01"]}),
    Asked("recipes:grid", {"as_of_time": NO_TIME, "since_time": NO_TIME}, "",
          {"as_of": "2026-01-02", "since": "2026-01-01"}),
    Asked("recipes:tolerance", {
        **NAMED, "q": NO_TEXT, "recipe": WHOLE_IDS, "value": NO_CHOICE, "by": NO_CHOICE,
        "days": NO_CHOICE, "until": [*NO_DAY, "1999-01-01", "9999-12-31"]}),
    Asked("recipes:what_if", {"version": WHOLE_IDS, "brew_temperature": [*NO_NUMBER, "300"]}),
    *(Asked(name, {"sites": WHOLE_IDS, "date": SCOPE["date"], "time": NO_TIME}, "menu_approved",
            {"date": "2026-12-01", "time": "06:30"})
      for name in ("recipes:menu_publish", "recipes:menu_plan")),
    Asked("stations:board", {**NAMED, "q": NO_TEXT, "show": NO_CHOICE}),
    Asked("stations:sites", {**NAMED, "q": NO_TEXT}),
    Asked("stations:machine_types", NAMED),
    Asked("stations:machine_type", KEYED, "machine_type"),
    Asked("stations:slot", {f"{which}_{key}": NO_KEY for which in ("past", "read", "shot")
                            for key in ("after", "before")}, "slot"),
    Asked("stations:read_back", {"read": WHOLE_IDS}, "slot"),
    Asked("stations:calibrations", KEYED),
    Asked("stations:calibration_new", {"kind": NO_CHOICE}, "station"),
    Asked("stations:charts", {"content": NO_CHOICE, "value": NO_CHOICE, "rules": NO_CHOICE,
                              "beside": WHOLE_IDS, "margin": NO_NUMBER}, "station"),
    Asked("recipes:beverage", {"dose": NO_NUMBER, "beverage": NO_NUMBER, "basket": NO_CHOICE},
          "station", {"dose": "18", "beverage": "36"}),
    Asked("recipes:prediction", {"dose_mass": NO_NUMBER, "brew_temperature": NO_NUMBER,
                               "coarser": [*NO_NUMBER, "31"], "station": WHOLE_IDS}, "draft"),
    Asked("recipes:request_new", {"fit": WHOLE_IDS}, "?version"),
]  # fmt: skip
OWNERS = [
    Asked("stations:machine_add", {"site": WHOLE_IDS}),
    Asked("stations:station_add", {"machine": WHOLE_IDS}),
    Asked("stations:week", {"week": [*NO_KEY, "2026-W54", "2026-W00", "9999-W01"]}, "site"),
    Asked("recipes:year", {"year": [*NO_KEY, "1000000000"]}, "site"),
    Asked("audit:history", {**FILTER, **KEYED}),
    Asked("audit:export_csv", FILTER),
    Asked("audit:export_json_lines", FILTER),
    Asked("audit:timeline", {"parameter": NO_CHOICE, **KEYED}, "timeline"),
]
PAGES_ASKED = {"head_roaster": ROASTERS, "owner": OWNERS}

# Pages that look something up only to fill in a form beforehand: nonsense is left out there.
LENIENT = {
    "recipes:recipe_add": {"coffee": [*NO_KEY, *NO_TEXT]},
    "recipes:tasting_new": {"base": [*NO_KEY, *NO_TEXT], "other": [*NO_KEY, *NO_TEXT]},
    "recipes:publish_plan": {"open": NO_KEY},
    "recipes:menu_add": {"like": [*NO_KEY, *NO_TEXT]},
}
