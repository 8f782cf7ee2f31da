"""Every page once: who looks at it, on which screen, and what of the scene it is about."""

from dataclasses import dataclass, field

from django.urls import URLPattern, URLResolver, get_resolver


@dataclass(frozen=True)
class Visit:
    """A page by its address's name; `about` maps its arguments to fields of the scene."""

    name: str
    about: dict[str, str] = field(default_factory=dict)
    query: str = ""


def pk(name: str, what: str, query: str = "") -> Visit:
    """A page about one thing of the scene."""
    return Visit(name, {"pk": what}, query)


# The screen each of them works at: design, section 1.
SCREENS = {
    "head_roaster": "desk",
    "second_roaster": "desk",
    "owner": "desk",
    "shop_lead": "tablet",
    "barista": "phone",
    "technician": "phone",
}

VISITS: dict[str, tuple[Visit, ...]] = {
    "head_roaster": (
        Visit("home"),
        Visit("recipes:coffees"),
        Visit("recipes:coffee_add"),
        pk("recipes:coffee", "coffee"),
        pk("recipes:coffee_edit", "coffee"),
        pk("recipes:lot_add", "coffee"),
        pk("recipes:lot_label", "lot"),
        Visit("recipes:recipes"),
        Visit("recipes:recipe_add"),
        Visit("recipes:exchange"),
        pk("recipes:recipe", "recipe"),
        pk("recipes:compare", "recipe"),
        pk("recipes:version", "approved"),
        pk("recipes:version", "draft"),
        pk("recipes:version_edit", "draft"),
        pk("recipes:version_move", "draft"),
        pk("recipes:draft_captured", "shot"),
        pk("recipes:version_withdraw", "approved"),
        pk("recipes:publish", "approved"),
        pk("recipes:publish_plan", "approved", "?which=every&where=all"),
        Visit("recipes:publications"),
        pk("recipes:publication", "publication"),
        pk("recipes:publication_stop", "later"),
        pk("recipes:publication_resume", "later"),
        pk("recipes:publication_cancel", "later"),
        pk("recipes:publication_site_cancel", "part"),
        Visit("recipes:requests"),
        pk("recipes:request", "request"),
        Visit("recipes:permits"),
        pk("recipes:permit", "permit"),
        pk("recipes:permit_end", "permit"),
        Visit("recipes:permit_new", query="?slot={slot}"),
        Visit("recipes:grid", query="?since=2026-01-01"),
        Visit("recipes:what_if"),
        Visit("recipes:tolerance", query="?recipe={recipe}&by=station"),
    ),
    "second_roaster": (
        pk("recipes:version_approve", "in_review"),
        pk("recipes:version_return", "in_review"),
    ),
    "shop_lead": (
        Visit("home"),
        Visit("stations:board"),
        Visit("recipes:grid"),
        pk("stations:site", "site"),
        pk("stations:today", "site"),
        pk("stations:opening_set", "site"),
        pk("stations:handover", "site"),
        pk("stations:to_key", "site"),
        pk("stations:grinders", "site"),
        pk("stations:station", "station"),
        pk("stations:sheet", "station"),
        pk("stations:slot", "slot"),
        pk("stations:read_back", "slot"),
        pk("stations:set_by_hand", "free_slot"),
        pk("stations:shot_correct", "shot"),
        Visit("recipes:request_new", query="?version={approved}"),
        Visit("recipes:request_evidence", query="?shot={shot}"),
        pk("stations:kept_chart", "kept_chart"),
        Visit("recipes:book"),
        pk("recipes:request_edit", "request"),
        Visit("recipes:permit_ask", query="?slot={slot}"),
        pk("recipes:permit_ask_edit", "permit_request"),
        pk("recipes:request", "permit_request"),
        pk("recipes:prediction", "approved"),
        pk("recipes:prediction", "approved", "?station={fitted}&brew_temperature=91&coarser=2"),
        pk("stations:charts", "station"),
        pk("recipes:beverage", "station"),
        Visit("recipes:tastings"),
        Visit("recipes:tasting_new"),
        pk("recipes:tasting", "tasting"),
        pk("recipes:tasting", "opened"),
        pk("recipes:tasting_sheets", "tasting"),
        pk("recipes:tasting_answers", "tasting"),
        pk("recipes:request_rebase", "overtaken"),
        Visit("people:tokens"),
        Visit("people:sessions"),
        Visit("people:pin"),
        Visit("people:notices"),
        Visit("people:units"),
    ),
    "barista": (
        Visit("home"),
        Visit("stations:at", {"code": "station"}),
        pk("stations:slot", "slot"),
        pk("stations:shot_log", "slot"),
        pk("stations:shot", "shot"),
        Visit("waiting"),
        pk("stations:lots", "site"),
        pk("stations:lot_open", "grinder"),
        pk("stations:lot_open_at_station", "station"),
        pk("stations:lot_close", "opening"),
        pk("stations:grinder", "grinder"),
        pk("stations:grinder_set", "grinder"),
        pk("recipes:delivery", "slot"),
        pk("recipes:version", "approved"),
        Visit("account_change_password"),
        Visit("account_reauthenticate"),
        Visit("account_logout"),
    ),
    "technician": (
        Visit("home"),
        Visit("stations:sites"),
        pk("stations:figure_new", "station"),
        pk("stations:machine", "machine"),
        Visit("stations:calibrations"),
        pk("stations:calibration_new", "station"),
        pk("stations:calibration_new", "station", "?kind=temperature"),
        pk("recipes:calibration", "calibration"),
        pk("recipes:calibration_accept", "calibration"),
        pk("recipes:calibration_reject", "calibration"),
        pk("stations:barometer", "site"),
        pk("stations:site_replaced", "site"),
        pk("stations:machine_replaced", "machine"),
        pk("stations:station_replaced", "station"),
        pk("stations:grinder_work", "grinder"),
        pk("stations:water", "site"),
        pk("stations:water_add", "site"),
    ),
    "owner": (
        Visit("home"),
        Visit("stations:board"),
        Visit("stations:sites"),
        Visit("stations:site_add"),
        pk("stations:site_edit", "site"),
        Visit("stations:machine_add", query="?site={site}"),
        pk("stations:machine_edit", "machine"),
        Visit("stations:station_add", query="?machine={machine}"),
        Visit("stations:machine_types"),
        Visit("stations:machine_type_add"),
        pk("stations:machine_type", "machine_type"),
        pk("stations:machine_type_edit", "machine_type"),
        Visit("stations:grinder_add", query="?site={site}"),
        pk("stations:grinder_edit", "grinder"),
        Visit("stations:import"),
        pk("recipes:overwritten", "slot"),
        pk("recipes:year", "site"),
        pk("recipes:over_time", "recipe"),
        Visit("audit:history"),
        pk("audit:entry", "entry"),
        Visit("audit:ledger"),
        Visit("audit:intact"),
        pk("audit:check", "check"),
        Visit("audit:reconciliations"),
        pk("audit:reconciliation", "reconciliation"),
        Visit("audit:timeline", {"subject_type": "'recipe'", "subject_id": "recipe"}),
        Visit("people:list"),
        Visit("people:add"),
        pk("people:edit", "person"),
        Visit("people:policy"),
        pk("people:tablets", "site"),
        pk("people:tablet_edit", "tablet"),
        pk("people:tablet_policy", "site"),
        Visit("people:notice_rules"),
    ),
}

BEFORE_SIGNING_IN = (
    Visit("people:tablet"),
    Visit("people:tablet_enrol"),
    Visit("account_login"),
    Visit("account_reset_password"),
    Visit("account_reset_password_done"),
    Visit("account_reset_password_from_key", {"uidb36": "'1'", "key": "'used-before'"}),
    Visit("account_reset_password_from_key_done"),
)
# These need a code app or a passkey first: test_second_factor_pages.py has both.
SECOND_FACTOR = {
    "mfa_index",
    "mfa_activate_totp",
    "mfa_deactivate_totp",
    "mfa_view_recovery_codes",
    "mfa_generate_recovery_codes",
    "mfa_authenticate",
    "mfa_reauthenticate",
    "mfa_list_webauthn",
    "mfa_add_webauthn",
    "mfa_edit_webauthn",
    "mfa_remove_webauthn",
    "mfa_reauthenticate_webauthn",
}

# Nobody looks at these by their address: they answer a form, a script or a program.
NOT_PAGES = {
    "healthz",
    "service_worker",
    "stations:former",  # addresses of machine types before, which lead on
    "stations:former_one",
    "audit:receipt",
    "audit:checkpoint",
    "audit:bundle",
    "audit:bundle_with_tables",
    "audit:export_csv",
    "audit:export_json_lines",
    "recipes:book_file",
    "recipes:export_json",
    "recipes:export_sheet",
    "recipes:exchange_schema",
    "recipes:draft_first",
    "recipes:draft_new",
    "recipes:version_appraisal",
    "recipes:version_submit",
    "recipes:version_comment",
    "recipes:request_decide",
    "recipes:request_take_back",
    "recipes:request_seen",
    "recipes:publication_progress",
    "recipes:fit_ask",
    "recipes:fit_progress",
    "stations:baseline_freeze",
    "stations:chart_keep",
    "recipes:tasting_lock",
    "recipes:tasting_open",
    "recipes:tasting_attach",
    "stations:slots_add",
    "stations:handover_read",
    "stations:import_example",
    "people:tablet_person",  # needs a tablet and a PIN: test_tablet.py
    "people:tablet_leave",
    "people:tablet_rest",
    "people:tablet_full",
    "people:tablet_code",
    "people:tablet_revoke",
    "people:pin_remove",
    "people:own_pin_remove",
    "people:give_role",
    "people:take_role",
    "people:session_end",
    "people:disconnect",
    "people:disconnect_own",
    "openid_connect_login",  # another server's page: test_single_sign_on.py
    "openid_connect_callback",
    "people:sessions_end",
    "people:person_sessions_end",
    "people:person_token_revoke",
    "people:deactivate",
    "people:reactivate",
    "people:invitation",
    "people:token_revoke",
    "people:device_add",
    "people:device_remove",
    "people:notices_stop",  # needs a signed address: tests/people/notices
    "account_signup",
    "account_set_password",
    "account_inactive",
    "mfa_download_recovery_codes",
    "mfa_login_webauthn",
}


def names(patterns: list[URLPattern | URLResolver] | None = None, space: str = "") -> set[str]:
    """Every address's name, those of the API left out."""
    found: set[str] = set()
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLPattern):
            found.add(space + (pattern.name or str(pattern.pattern)))
        elif not str(pattern.pattern).startswith("api/"):
            inner = f"{pattern.namespace}:" if pattern.namespace else space
            found |= names(pattern.url_patterns, inner)
    return found
