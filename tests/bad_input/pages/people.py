"""People, roles, tokens and policy."""

from people.policy.models import Policy
from people.tokens.models import ApiToken
from tests.bad_input.call import signed
from tests.bad_input.form import FOREIGN, STALE, Form


def _gateways_token() -> str:
    return str(ApiToken.objects.get(name="gateway").pk)


PEOPLE = [
    Form("add", "owner", lambda t: {"email": "new@example.com", "name": "New lead"},
         also={"email": ["", "owner@example.com"], "name": ["", " "]}),
    Form("edit", "owner", thing="person", sent=lambda t: {
         "email": "new@example.com", "name": "New lead", "revision": "1"},
         also={"email": ["", "owner@example.com"], "name": ["", " "], "revision": STALE}),
    Form("give_role", "owner", lambda t: {"role": "shop_lead", "site": str(t.cast.site.pk)},
         thing="person", also={"role": ["", "king", "barista"], "site": FOREIGN}),
    Form("tablets", "shop_lead", lambda t: {"name": "Counter right"}, thing="site", good=200,
         also={"name": ["", " ", "counter"]}),
    Form("tablet_edit", "shop_lead", lambda t: {"name": "Counter left", "revision": "1"},
         thing="tablet", also={"name": ["", " "], "revision": STALE}),
    Form("tablet_code", "shop_lead", lambda t: {"revision": "1"}, thing="tablet", good=200,
         also={"revision": STALE}),
    Form("tablet_revoke", "shop_lead", lambda t: {"revision": "1"}, thing="tablet",
         also={"revision": STALE}),
    Form("tablet_policy", "owner", thing="site", sent=lambda t: {
         "revision": "1", "idle_minutes": "5", "shown": "nothing", "shown_on_tablet": "settings"},
         also={"revision": STALE, "idle_minutes": ["", "0", "61"], "shown": ["", "all"],
               "shown_on_tablet": ["", "all"]}),
    Form("pin_remove", "owner", lambda t: {}, thing="person"),
    Form("pin", "barista", lambda t: {"pin": "7304", "pin_again": "7304"},
         also={"pin": ["", "123", "1234", "12a4"], "pin_again": ["", "7305"]}),
    Form("deactivate", "owner", lambda t: {"revision": "1"}, thing="person",
         also={"revision": STALE}),
    Form("reactivate", "owner", lambda t: {"revision": "1"}, thing="person",
         also={"revision": STALE}),
    Form("person_sessions_end", "owner", lambda t: {"reason": "Left a tablet at the bar"},
         thing="person", also={"reason": ["", " "]}),
    Form("person_token_revoke", "owner", pk=lambda t: t.cast.shop_lead.pk,
         sent=lambda t: {"token": _gateways_token(), "reason": "Its till is gone"},
         also={"token": FOREIGN, "reason": ["", " "]}),
    Form("invitation", "owner", lambda t: {}, thing="person"),
    Form("policy", "owner", also={"boiling": ["", "freeze"], "revision": STALE,
         "password": ["", "wrong"], "email": ["", "barista@example.com"]},
         sent=lambda t: signed(t, "owner", revision=str(Policy.current().revision),
                               sole_roaster="on", boiling="refuse")),
    Form("notices", "owner", lambda t: {"history_alarm": "daily", "hour": "8", "weekday": "3"},
         also={"history_alarm": ["", "never"], "hour": ["24", "", "x"], "weekday": ["0", "8"]}),
    Form("notice_rules", "owner", lambda t: {"differs": "daily", "seen": "nothing"},
         also={"differs": ["off", "never"], "seen": ["differs=weekly"]}),
    Form("units", "barista", also={"temperatures": ["", "K"], "masses": ["", "st"],
         "revision": STALE},
         sent=lambda t: {"temperatures": "[degF]", "masses": "both",
                         "revision": str(t.cast.barista.revision)}),
    Form("tokens", "owner", lambda t: {"name": "Till", "scopes": ["read"], "days": "30"},
         good=200, also={"name": ["", " "], "scopes": [[], ["all"], ["gateway", "read"]],
                         "days": ["", "0", "367"]}),
]  # fmt: skip
