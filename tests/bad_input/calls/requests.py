"""Change requests."""

from tests.bad_input.call import FOREIGN, REASON, Call, Values

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
         body=lambda t: {"choices": {"brew_temperature": "proposed"}, "current": t.newest.pk},
         also={"choices": [{}, {"dose_mass": "current"}, {"brew_temperature": "both"}],
               "current": FOREIGN}),
    Call("POST", "request_take_back", "shop_lead", thing="request", body=lambda t: {}),
    Call("POST", "request_seen", "shop_lead", thing="request", body=lambda t: {}),
]  # fmt: skip
