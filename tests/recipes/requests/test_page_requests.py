"""Change requests on pages: asked at the bar, answered at the desk, re-based when overtaken."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from recipes.formula.forms import formula_initial
from recipes.requests.decisions import ask_back
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from tests.cast import Cast, SignedIn
from tests.recipes.shelf import FORMULA, HOTTER, ask, make_approved, number

State = ChangeRequest.State


def form(cast: Cast, **changed: object) -> dict[str, object]:
    shown = {k: "" if v is None else str(v) for k, v in formula_initial(FORMULA).items()}
    return {**shown, "site": cast.site.pk, "reason": "Sour", "evidence": "", **changed}


def asked(browser: Client, version: Version, data: dict[str, object]) -> tuple[int, str]:
    answer = browser.post(f"{reverse('recipes:request_new')}?version={version.pk}", data)
    return answer.status_code, answer.content.decode()


def hidden(page: Any) -> dict[str, object]:  # noqa: ANN401
    """What a form's page carries along of what it showed."""
    return {field.name: field.value() for field in page.context["form"].hidden_fields()}


def test_a_shop_lead_asks(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    browser = signed_in(cast.shop_lead)
    assert asked(browser, approved, form(cast, brew_temperature="94.0"))[0] == 302
    request = ChangeRequest.objects.get()
    assert request.proposed == HOTTER
    page = browser.get(request.get_absolute_url()).content.decode()
    for shown in ("93.0", "94.0", "Sour", "Take it back"):
        assert shown in page


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({}, "at least one value other than"),
        ({"brew_temperature": "9,4,0"}, "has a comma"),
        ({"brew_temperature": "940"}, "give a number from 80 to 100"),
        ({"brew_temperature": "94", "reason": ""}, "required"),
        ({"brew_temperature": ""}, "Nothing was given"),
        ({"brew_temperature": "94", "ends_by": ""}, "To drop a parameter, say so"),
        ({"brew_temperature": "94", "site": "999999"}, "not one of the available choices"),
    ],
)
def test_a_bad_request_is_told(
    cast: Cast, signed_in: SignedIn, approved: Version, changed: dict[str, str], words: str
) -> None:
    status, page = asked(signed_in(cast.shop_lead), approved, form(cast, **changed))
    assert (status, words in page) == (400, True)
    assert not ChangeRequest.objects.exists()


def test_a_site_of_others_is_not_offered(
    cast: Cast, signed_in: SignedIn, approved: Version
) -> None:
    data = form(cast, brew_temperature="94", site=cast.other_site.pk)
    assert asked(signed_in(cast.shop_lead), approved, data)[0] == 400


@pytest.mark.parametrize("version", ["", "abc", "-1", "9" * 30, "999999"])
def test_an_unknown_version(cast: Cast, signed_in: SignedIn, version: str) -> None:
    url = reverse("recipes:request_new")
    assert signed_in(cast.shop_lead).get(url, {"version": version}).status_code in {400, 404}


def test_requests_of_other_sites_are_not_there(
    cast: Cast, signed_in: SignedIn, approved: Version
) -> None:
    request = ask(cast, approved)
    outsider = signed_in(cast.other_lead)
    assert outsider.get(request.get_absolute_url()).status_code == 404
    assert f"Request {request.pk}" not in outsider.get("/requests/").content.decode()
    for name in ("request_edit", "request_rebase"):
        assert outsider.get(reverse(f"recipes:{name}", args=[request.pk])).status_code == 404
    url = reverse("recipes:request_take_back", args=[request.pk])
    assert outsider.post(url).status_code == 404


def decide(browser: Client, request: ChangeRequest, **data: object) -> tuple[int, str]:
    url = reverse("recipes:request_decide", args=[request.pk])
    answer = browser.post(url, {"revision": request.revision, "reason": "", **data})
    return answer.status_code, answer.content.decode()


def test_decisions(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    browser, request = signed_in(cast.head_roaster), ask(cast, approved)
    assert decide(browser, request)[0] == 400
    status, page = decide(browser, request, decision="decline")
    assert (status, "reason" in page) == (400, True)
    assert decide(browser, request, decision="accept", revision=9)[0] == 412
    assert decide(browser, request, decision="accept")[0] == 302
    draft = Version.objects.get(change_request=request)
    assert draft.stated == FORMULA | HOTTER
    status, page = decide(browser, request, decision="decline", reason="No", revision=2)
    assert (status, "accepted by Head roaster already" in page) == (409, True)
    assert decide(signed_in(cast.shop_lead), request, decision="accept")[0] == 403


def test_an_answer_to_a_question(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    made = ask(cast, approved)
    request = ask_back(
        by=cast.head_roaster, request=made, revision=made.revision, reason="Which grinder?"
    )
    browser = signed_in(cast.shop_lead)
    url = reverse("recipes:request_edit", args=[request.pk])
    assert "Which grinder?" in browser.get(url).content.decode()
    data = form(cast, brew_temperature="94.0", reason="Number two", revision=request.revision)
    assert browser.post(url, data).status_code == 302
    request.refresh_from_db()
    assert (request.state, request.reason) == (State.OPEN, "Number two")
    assert browser.post(url, data).status_code == 412


def test_an_overtaken_request_shows_three_sides(
    cast: Cast, signed_in: SignedIn, approved: Version
) -> None:
    request = ask(cast, approved)
    cooler = FORMULA | {"brew_temperature": number("92.0", "0.5", "0.5")}
    make_approved(cast, approved.recipe, cooler)
    browser = signed_in(cast.shop_lead)
    page = browser.get(request.get_absolute_url()).content.decode()
    for shown in ("Overtaken", "93.0", "94.0", "92.0", "choose one"):
        assert shown in page
    url = reverse("recipes:request_rebase", args=[request.pk])
    seen = hidden(browser.get(url))
    assert browser.post(url, seen).status_code == 400
    assert browser.post(url, seen | {"brew_temperature": "mine"}).status_code == 400
    assert browser.post(url, seen | {"brew_temperature": "proposed"}).status_code == 302
    request.refresh_from_db()
    assert request.base.number == 2


def test_what_is_approved_while_somebody_chooses_is_looked_at_first(
    cast: Cast, signed_in: SignedIn, approved: Version
) -> None:
    """Else a choice would fall between values that nobody compared."""
    request, browser = ask(cast, approved), signed_in(cast.shop_lead)
    url = reverse("recipes:request_rebase", args=[request.pk])
    make_approved(cast, approved.recipe, FORMULA | {"brew_temperature": number("92.0")})
    first = hidden(browser.get(url)) | {"brew_temperature": "proposed"}
    make_approved(cast, approved.recipe, FORMULA | {"brew_temperature": number("90.0")})
    answer = browser.post(url, first)
    assert answer.status_code == 412
    page = answer.content.decode()
    assert "Version 3 was approved meanwhile" in page
    assert "90.0" in page
    request.refresh_from_db()
    assert request.base.number == 1
    assert browser.post(url, hidden(answer) | {"brew_temperature": "proposed"}).status_code == 302


def test_taking_back(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    request = ask(cast, approved)
    url = reverse("recipes:request_take_back", args=[request.pk])
    shown = {"revision": request.revision}
    assert signed_in(cast.head_roaster).post(url, shown).status_code == 403
    lead = signed_in(cast.shop_lead)
    assert lead.post(url, {"revision": request.revision + 1}).status_code == 412
    assert lead.post(url).status_code == 400
    assert lead.post(url, shown).status_code == 302
    assert lead.post(url, shown).status_code == 409


def test_only_values_in_use_stand_open(cast: Cast, signed_in: SignedIn, approved: Version) -> None:
    address = f"{reverse('recipes:request_new')}?version={approved.pk}"
    page = signed_in(cast.shop_lead).get(address)
    form = page.context["form"]
    assert {line.parameter.code for line in form.used()} == set(FORMULA)
    shown = page.content.decode()
    assert "<details>" in shown
    open_part = shown.partition("<details>")[0]
    assert all(f'id="id_{code}"' in open_part for code in FORMULA)
    assert "_below" not in open_part
    typed = signed_in(cast.shop_lead).post(address, {"dose_mass_below": "0.3"})
    assert "<details open>" in typed.content.decode()
