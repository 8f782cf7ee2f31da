"""People, roles, tokens and policy."""

from people.policy.models import Policy
from tests.bad_input.call import signed
from tests.bad_input.form import FOREIGN, STALE, Form

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
    Form("person_sessions_end", "owner", lambda t: {"reason": "Left a tablet at the bar"},
         thing="person", also={"reason": ["", " "]}),
    Form("invitation", "owner", lambda t: {}, thing="person"),
    Form("policy", "owner", also={"boiling": ["", "freeze"], "revision": STALE,
         "password": ["", "wrong"], "email": ["", "barista@example.com"]},
         sent=lambda t: signed(t, "owner", revision=str(Policy.current().revision),
                               sole_roaster="on", boiling="refuse")),
    Form("tokens", "owner", lambda t: {"name": "Till", "scopes": ["read"], "days": "30"},
         good=200, also={"name": ["", " "], "scopes": [[], ["all"], ["gateway", "read"]],
                         "days": ["", "0", "367"]}),
]  # fmt: skip
