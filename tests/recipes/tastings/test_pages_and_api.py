"""Tastings in the browser and through the API."""

from recipes.tastings.actions import lock_answers, open_key, record_answers
from recipes.tastings.models import Tasting
from recipes.tastings.result import chosen_sample, session
from recipes.versions.drafts import new_draft
from recipes.versions.models import Version
from tests.calling import act, etag
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.tastings.panel import opened, plan, right_answers

TYPED = {
    "method": "triangle", "first_sample": "old", "second_sample": "new", "risk": "0.05",
    "assessments": "24", "share": "0.4", "seed": "", "aim": "difference", "servings_each": "1",
}  # fmt: skip


def shown(tasting: Tasting) -> dict[str, object]:
    """The hidden field of a page that shows it now."""
    return {"revision": Tasting.objects.get(pk=tasting.pk).revision}


def test_a_plan_is_worked_out_before_it_is_kept(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.shop_lead)
    typed = {**TYPED, "site": cast.site.pk}
    page = browser.post("/tastings/new/", {**typed, "forecast": "1"}).content.decode()
    # ISO 4120 critical numbers, n = 24 at 5 %: 13 (references 4).
    assert "13 of 24" in page
    assert not Tasting.objects.exists()
    kept = browser.post("/tastings/new/", {**typed, "keep": "1"})
    assert kept.headers["Location"] == Tasting.objects.get().get_absolute_url()


def test_answers_lock_key_and_evidence(cast: Cast, signed_in: SignedIn, draft: Version) -> None:
    browser, tasting = signed_in(cast.shop_lead), plan(cast)
    address = tasting.get_absolute_url()
    sheets = browser.get(f"{address}sheets/").content.decode()
    assert "93.0" in sheets
    # The pourer's sheet names every cup's sample, the tasters' has the codes alone.
    assert sheets.count("<b>A</b>") == sheets.count("<b>B</b>") == 18
    page = browser.get(f"{address}answers/").content.decode()
    assert "Serving 12" in page
    assert "(optional)" not in page
    answers = {f"answer_{n}": code for n, code in right_answers(tasting, 9).items()}
    assert browser.post(f"{address}answers/", answers).status_code == 400
    assert browser.post(f"{address}answers/", answers | shown(tasting)).status_code == 302
    assert b"p-value" not in browser.get(address).content
    browser.post(f"{address}lock/", shown(tasting))
    browser.post(f"{address}open/", shown(tasting))
    page = browser.get(address).content.decode()
    assert "9 of 12 told the samples apart: a difference is shown" in page
    done = browser.post(
        f"{address}attach/", {"evidence_for": f"version:{draft.pk}", **shown(tasting)}
    )
    assert done.headers["Location"] == draft.get_absolute_url()
    assert "told the samples apart" in browser.get(draft.get_absolute_url()).content.decode()


def test_two_people_enter_answers(cast: Cast, signed_in: SignedIn) -> None:
    """Who is late is told; what the other wrote is kept where nothing was typed."""
    browser, tasting = signed_in(cast.shop_lead), plan(cast)
    address, seen = f"{tasting.get_absolute_url()}answers/", shown(tasting)
    answers = right_answers(tasting, 12)
    assert browser.post(address, {"answer_1": answers[1], **seen}).status_code == 302
    late = browser.post(address, {"answer_2": answers[2], **seen})
    assert late.status_code == 412
    assert [one.number for one in tasting.answers.all()] == [1]
    again = {field.name: field.value() or "" for field in late.context["form"]}
    assert browser.post(address, again).status_code == 302
    assert [one.number for one in tasting.answers.all()] == [1, 2]


def test_what_another_wrote_over_is_seen_before_it_is_replaced(
    cast: Cast, signed_in: SignedIn
) -> None:
    browser, tasting = signed_in(cast.shop_lead), plan(cast)
    address, answers = f"{tasting.get_absolute_url()}answers/", right_answers(tasting, 12)
    first = {"answer_1": answers[1], "note_1": "Sharp."}
    assert browser.post(address, first | shown(tasting)).status_code == 302
    seen = shown(tasting)
    assert browser.post(address, first | {"note_1": "Flat."} | seen).status_code == 302
    late = browser.post(address, first | {"answer_2": answers[2]} | seen)
    assert late.status_code == 412
    assert "Flat." in late.content.decode()
    assert late.context["form"]["note_1"].value() == "Sharp."


def test_another_site_sees_nothing(cast: Cast, signed_in: SignedIn) -> None:
    tasting = plan(cast)
    browser = signed_in(cast.other_lead)
    assert browser.get(tasting.get_absolute_url()).status_code == 404
    assert browser.post(f"{tasting.get_absolute_url()}lock/").status_code == 404
    assert f"/tastings/{tasting.pk}/" not in browser.get("/tastings/").content.decode()
    barista = signed_in(cast.barista)
    assert barista.get(tasting.get_absolute_url()).status_code == 200
    assert barista.get(f"{tasting.get_absolute_url()}sheets/").status_code == 403
    # Whoever has the seed can work out the key.
    assert tasting.seed not in barista.get(tasting.get_absolute_url()).content.decode()


def test_the_api_runs_one(cast: Cast, api_as: ApiAs) -> None:
    client = api_as(cast.shop_lead)

    tags = {"": '"none"'}

    def post(path: str, body: object = None) -> dict[str, object]:
        answer = act(client, f"tastings/{path}", body, if_match=tags[""])
        assert answer.status_code in {200, 201}, answer.content
        tags[""] = answer["ETag"]
        return dict(answer.json())

    plain = {name: TYPED[name] for name in TYPED if name != "share"}
    made = post("", {**plain, "site": cast.site.code, "assessments": 12})
    tasting = Tasting.objects.get(pk=int(str(made["id"])))
    assert made["result"] is None
    right = {str(number): code for number, code in right_answers(tasting, 8).items()}
    post(f"{tasting.pk}/answers/", {"answers": right})
    post(f"{tasting.pk}/lock/")
    result = post(f"{tasting.pk}/open/")["result"]
    assert isinstance(result, dict)
    assert (result["p_value"], result["counted"], result["shown"]) == ("0.0188", 8, True)


def test_what_tasters_say_is_told_once_all_have_tasted(cast: Cast, api_as: ApiAs) -> None:
    tasting, by = plan(cast), cast.shop_lead
    path = f"/api/v1/tastings/{tasting.pk}/"
    tasting = record_answers(
        by=by, tasting=tasting, revision=tasting.revision,
        answers=right_answers(tasting, 12), notes={3: "Sharper."},
    )  # fmt: skip
    for whose in (cast.barista, cast.shop_lead):
        assert api_as(whose).get(path).json()["notes"] == {}
    lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    assert api_as(cast.barista).get(path).json()["notes"] == {"3": "Sharper."}


def test_a_preference_has_no_right_answer(cast: Cast, signed_in: SignedIn) -> None:
    tasting, by = plan(cast, "paired, two-sided", 6), cast.shop_lead
    liked = {s.number: next(c for c in s.codes if chosen_sample(s, c) == "B")
             for s in session(tasting)}  # fmt: skip
    tasting = record_answers(by=by, tasting=tasting, revision=tasting.revision, answers=liked)
    tasting = lock_answers(by=by, tasting=tasting, revision=tasting.revision)
    open_key(by=by, tasting=tasting, revision=tasting.revision)
    page = signed_in(cast.shop_lead).get(tasting.get_absolute_url()).content.decode()
    assert "no telling: all preferred the same" in page
    assert "was right" not in page


def test_a_plan_is_judged_and_served_over_the_api(cast: Cast, api_as: ApiAs) -> None:
    client, tasting = api_as(cast.shop_lead), plan(cast)
    told = client.get("/api/v1/tastings/forecast/", {"method": "triangle", "assessments": "24"})
    # ISO 4120 critical numbers, n = 24 at 5 %: 13 (references 4).
    assert told.json()["needed"] == 13
    assert set(told.json()) == {"needed", "power", "panel_least", "panel_steady"}
    odd = client.get("/api/v1/tastings/forecast/", {"method": "triangle", "assessments": "0"})
    assert odd.json()["problems"][0]["field"] == "assessments"
    poured = client.get(f"/api/v1/tastings/{tasting.pk}/servings/").json()
    assert [one["number"] for one in poured] == list(range(1, 13))
    assert {len(one["codes"]) for one in poured} == {3}
    path = f"/api/v1/tastings/{tasting.pk}/servings/"
    assert api_as(cast.barista).get(path).status_code == 403
    assert api_as(cast.other_lead).get(path).status_code == 404


def test_the_api_refuses_what_the_page_refuses(cast: Cast, api_as: ApiAs, draft: Version) -> None:
    client, tasting = api_as(cast.shop_lead), opened(cast, 8)
    path = f"tastings/{tasting.pk}/"

    def status(end: str, body: object) -> int:
        return int(act(client, path + end, body, if_match=etag(client, path)).status_code)

    assert act(client, f"{path}lock/").status_code == 428
    assert act(client, f"{path}lock/", if_match='"tasting-1-0"').status_code == 412
    assert status("answers/", {"answers": {"1": ""}}) == 409
    assert status("answers/", {"answers": {"one": ""}}) == 400
    assert status("attach/", {"version": 10**9}) == 400
    another = new_draft(by=cast.head_roaster, recipe=draft.recipe)
    assert status("attach/", {"version": another.pk}) == 200
    assert status("attach/", {"version": draft.pk}) == 409
