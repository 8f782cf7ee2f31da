"""People, roles, tokens and policy."""

from people.tokens.models import ApiToken
from tests.bad_input.call import FOREIGN, SIGNATURE, Call, signed

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
    Call("POST", "tablets", "owner", thing="site_code", good=201,
         body=lambda t: {"name": "Counter right"}, also={"name": ["", " ", "counter"]}),
    Call("PUT", "tablet", "owner", thing="tablet", body=lambda t: {"name": "Counter left"},
         also={"name": ["", " "]}),
    Call("POST", "tablet_revoke", "owner", lambda t: {}, thing="tablet"),
    Call("PUT", "tablet_policy", "owner", thing="site_code",
         body=lambda t: {"idle_minutes": 5, "shown": "nothing", "shown_on_tablet": "settings"},
         also={"idle_minutes": [0, 61], "shown": ["", "all"], "shown_on_tablet": ["", "all"]}),
    Call("PUT", "units", "owner", lambda t: {"temperatures": "both", "masses": "[oz_av]"},
         also={"temperatures": ["", "K"], "masses": ["", "st"]}),
    Call("POST", "deactivate", "owner", lambda t: {}, thing="person"),
    Call("POST", "reactivate", "owner", lambda t: {}, thing="person"),
    Call("POST", "invitation", "owner", lambda t: {}, thing="person", good=201),
    Call("POST", "tokens", "owner", good=201,
         body=lambda t: {"name": "Till", "scopes": ["read"], "days": 30},
         also={"name": ["", " "], "scopes": [[], ["all"], ["gateway", "read"], [None]],
               "days": [0, 367]}),
    Call("POST", "token_revoke", "owner", lambda t: {"reason": "Its till is gone"},
         pk=lambda t: ApiToken.objects.get(name="gateway").pk, also={"reason": ["", " "]}),
    Call("PUT", "policy", "owner",
         body=lambda t: signed(t, "owner", sole_roaster=True, boiling="refuse"),
         also={**SIGNATURE, "boiling": ["", "freeze"]}),
]  # fmt: skip
