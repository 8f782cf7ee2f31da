"""Water of each station's own on pages and in the API, from the draft to the slot."""

import re
from html import unescape
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.review import submit
from stations.metrology.formula import Stated
from tests.bar import Bar
from tests.cast import PASSWORD, ApiAs, SignedIn
from tests.publishing import Publish
from tests.recipes.calibrating import accept, holds, measure
from tests.recipes.permits.test_permits import permit
from tests.recipes.shelf import FORMULA, make_approved, number
from tests.recipes.station_water.test_own_water import STEADY, own_water, pull

CUP = {code: entry for code, entry in FORMULA.items() if code != "water_volume"}


@pytest.fixture
def known(bar: Bar, send: Publish) -> Bar:
    """The first station has poured 70 mL eight times, for about 50 g."""
    run.run(send().pk)
    pull(bar, bar.stations[0].slots.all()[0], STEADY)
    return bar


@pytest.fixture
def roaster(bar: Bar, signed_in: SignedIn) -> Client:
    return signed_in(bar.cast.head_roaster)


def text(answer: Any) -> str:  # noqa: ANN401
    """The page as it is read: no tags, one kind of space."""
    words = unescape(re.sub(r"<[^>]+>", " ", answer.content.decode()))
    return re.sub(r"\s+", " ", words).replace(" ,", ",")


def test_the_draft_says_what_follows_and_can_be_submitted(known: Bar, roaster: Client) -> None:
    who = known.cast.head_roaster
    draft = new_draft(by=who, recipe=known.version.recipe)
    draft = edit_draft(by=who, version=draft, revision=draft.revision, values=CUP)
    for path in (draft.get_absolute_url(), f"{draft.get_absolute_url()}edit/"):
        page = text(roaster.get(path))
        assert "Each station gets the water that yields 36.0 g there." in page
        assert "Typically 55.9 mL here; 54.1 mL by common practice elsewhere." in page
    page = text(roaster.get(draft.get_absolute_url()))
    assert "set the water volume that yields 36.0 g" in page
    assert "each station's own worked out" in page
    assert submit(by=who, version=draft, revision=draft.revision).state == "in_review"


def test_without_any_shots_it_is_common_practice(bar: Bar, roaster: Client) -> None:
    who = bar.cast.head_roaster
    draft = new_draft(by=who, recipe=bar.version.recipe)
    draft = edit_draft(by=who, version=draft, revision=draft.revision, values=CUP)
    page = text(roaster.get(draft.get_absolute_url()))
    assert "54.1 mL by common practice, until a station has 5 shots" in page


def plan_path(version: object, query: str = "where=all&slots=1") -> str:
    return f"/versions/{version.pk}/publish/plan/?{query}"  # type: ignore[attr-defined]


def test_the_plan_says_what_each_cup_will_weigh_and_is_signed(known: Bar, roaster: Client) -> None:
    version = own_water(known)
    answer = roaster.get(plan_path(version))
    page = text(answer)
    assert "Water 56 mL for 36.1 g" in page
    assert "by 8 check shots" in page
    assert "by common practice" in page
    seen = answer.context["form"].initial
    pull(known, known.slots[0], ["44.0", "45.0"])
    typed = {
        **seen, "email": known.cast.head_roaster.email, "password": PASSWORD, "reason": "Cup",
        "acknowledged": "on",
    }  # fmt: skip
    for wrong_moment in ("yesterday", "0001-01-01T00:00+14:00", "9999-12-31T23:59-12:00"):
        bad = roaster.post(plan_path(version), {**typed, "learnt_until": wrong_moment})
        assert bad.status_code in {400, 409}, wrong_moment
    wrong = roaster.post(plan_path(version), {**typed, "password": "wrong"})
    assert "Water 56 mL for 36.1 g" in text(wrong)
    assert roaster.post(plan_path(version), typed).status_code == 302
    run.run(Publication.objects.latest("pk").pk)
    assert holds(known.slots[0]).settings.values["water_volume"]["value"] == "224"


def test_slot_and_station_say_what_it_would_be_now(
    known: Bar, roaster: Client, send: Publish
) -> None:
    slot = known.slots[0]
    run.run(send(own_water(known)).pk)
    path = f"/slots/{slot.pk}/delivered-water/"
    assert "By the shots so far stays the same" in text(roaster.get(path))
    pull(known, slot, ["36.6", "35.8", "36.2", "35.9", "36.1"])
    page = text(roaster.get(path))
    assert re.search(r"Asked for 36\.0 g .2 / \+2 in the cup", page)
    assert "Set to 224 pulses, 56.0 mL" in page
    assert "Next cup" in page
    assert "g/g from shot to shot" in page
    pull(known, slot, ["35.2", "35.4", "35.0", "35.3", "35.1"] * 3)
    page = text(roaster.get(path))
    assert re.search(r"would now be 22[5-8] pulses ?, 5[67]\.\d mL", page)
    assert "the slot keeps what was signed" in page
    balance = text(roaster.get(f"/stations/{slot.station_id}/beverage/"))
    assert "would now be" in balance
    assert "counts from the next publication or re-translation on" in balance
    assert holds(slot).settings.values["water_volume"]["value"] == "224"


def test_every_slot_says_it_whatever_its_pulses_per_millilitre(
    known: Bar, roaster: Client, send: Publish
) -> None:
    """222 pulses at 4.10 per mL are 54.146341… mL: a number without end."""
    run.run(send(own_water(known)).pk)
    for slot in known.slots:
        page = text(roaster.get(f"/slots/{slot.pk}/delivered-water/"))
        count = holds(slot).settings.values["water_volume"]["value"]
        assert f"Set to {count} pulses" in page


def test_a_calibration_works_it_out_anew_from_the_same_shots(known: Bar, send: Publish) -> None:
    """The shots' pulses were more water than thought, or less: the cup comes out the same."""
    run.run(send(own_water(known)).pk)
    who, slot = known.cast.technician, known.slots[0]
    made = accept(measure(slot.station, "4.2", who), who)
    now = holds(slot)
    # 280 pulses gave 50.05 g; 36 g takes 14.05 g less, 14.05 / 0.9982 mL x 4.2 pulses.
    assert abs(int(now.settings.values["water_volume"]["value"]) - (280 - 59.1)) < 1
    assert now.basis_id == made.pk


def test_a_permit_bends_the_rest_and_keeps_the_water_its_own(known: Bar, send: Publish) -> None:
    run.run(send(own_water(known)).pk)
    slot = known.slots[0]
    permit([slot], known.cast.head_roaster)
    assert holds(slot).settings.values["water_volume"]["value"] == "224"


def test_by_the_api_as_on_the_page(known: Bar, api_as: ApiAs) -> None:
    version, client = own_water(known), api_as(known.cast.head_roaster)
    body = {"version": version.pk, "where": "all", "slot_numbers": [1]}

    def post(path: str, given: dict[str, Any]) -> Any:  # noqa: ANN401
        headers = {"Idempotency-Key": uuid4().hex}
        return client.post(f"/api/v1/{path}", given, format="json", headers=headers)

    plan = post("publications/plan/", {**body, "site": known.cast.site.pk}).json()
    first = next(each for each in plan["slots"] if each["slot"] == known.slots[0].pk)
    assert first["settings"]["water_volume"]["value"] == "224"
    assert (first["expected"]["learnt"], first["expected"]["used"]) == (True, 8)
    assert first["expected"]["mass"] == "36.1"  # 224 pulses are 56.0 mL: 0.075 mL more than asked
    pull(known, known.slots[0], ["44.0", "45.0"])
    who = known.cast.head_roaster
    signed = {
        **body, "reason": "Cup", "acknowledged": True, "seen_digest": plan["digest"],
        "email": who.email, "password": PASSWORD,
    }  # fmt: skip
    assert post("publications/", signed).status_code == 409
    bad = post("publications/", {**signed, "learnt_until": "soon"})
    assert (bad.status_code, "learnt_until" in bad.content.decode()) == (400, True)
    made = post("publications/", {**signed, "learnt_until": plan["learnt_until"]})
    assert made.status_code == 201


def test_the_trade_fact_from_plan_to_page(bar: Bar, send: Publish, roaster: Client) -> None:
    """280 pulses, a taper at 92 %: pulse 258, 22 remain. Common practice, no source."""
    who, recipe = bar.cast.head_roaster, bar.version.recipe
    staged = FORMULA | {"brew_pressure": number("9.0", "0.3", "0.3"),
        "taper_start": number("92", "0.5", "0.5"), "taper_pressure": number("6.0", "0.5", "0.5"),
        "preinfusion_time": number("4.04", "0.5", "0.5"),
        "ends_by": Stated(text="volume")}  # fmt: skip

    version = make_approved(bar.cast, recipe, staged)
    slot = bar.slots[0]
    plan = text(roaster.get(plan_path(version)))
    assert re.search(r"Taper start .* 280 pulses .* 258 pulses", plan)
    run.run(send(version, by=who).pk)
    values = holds(slot).settings.values
    assert (values["water_volume"]["value"], values["taper_start"]["value"]) == ("280", "258")
    page = text(roaster.get(f"/slots/{slot.pk}/delivered-water/"))
    assert "Taper begins at pulse 258; 22 of 280 remain" in page
    # Times to the machine's step of 0.1 s; the taper off by 0.4 of 280 pulses.
    assert re.search(r"Pre-infusion time 4\.04 s 4\.0 s 0\.1 s .0\.04 s", page)
    assert re.search(r"Taper start 92 % 258 pulses 1 pulses? 0\.143 %", page)
    assert re.search(r"Brew pressure 9\.0 bar 9\.0 bar 0\.1 bar 0\.0 bar", page)
