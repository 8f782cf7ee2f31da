"""Variants on pages: begun from what the type can do, read where the version is read, removed."""

from decimal import Decimal
from html import unescape

from django.urls import resolve, reverse

from recipes.formula.forms import formula_initial
from recipes.formula.formula import Formula
from recipes.publishing import run
from recipes.publishing.hindered import hindrances
from recipes.variants.beginning import fitted
from recipes.versions.models import Version
from stations.machine_types.models import MachineType
from stations.metrology.formula import Stated
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar
from tests.cast import Cast, SignedIn
from tests.publishing import Publish, plan_of
from tests.recipes.shelf import ask, make_draft, make_recipe, number
from tests.recipes.station_water.test_own_water_pages import text
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, sent_for_review, signed


def edit(version: Version, of: MachineType) -> str:
    return reverse("recipes:variant_edit", args=[version.pk, of.pk])


def typed(formula: Formula, revision: int) -> dict[str, str]:
    said = {name: str(value) for name, value in formula_initial(formula).items() if value}
    return {**said, "revision": str(revision)}


def test_it_begins_from_the_whole_without_what_the_type_lacks(plain: MachineType) -> None:
    begun = fitted(STAGED, plain)
    assert set(STAGED) - set(begun) == {
        "preinfusion_time", "preinfusion_pressure", "brew_pressure",
    }  # fmt: skip
    assert begun.ends_by == "volume"


def test_without_a_meter_it_ends_by_time_where_a_time_is_stated(plain: MachineType) -> None:
    plain.abilities.filter(parameter="water_volume").delete()
    plain.ends_by = ["operator", "time"]
    bare = fitted(STAGED, plain)
    assert bare.ends_by == "operator"
    timed = fitted(STAGED | {"shot_time": number("28", "3", "3")}, plain)
    assert timed.ends_by == "time"
    assert "water_volume" not in timed


def test_a_taper_goes_with_the_water_it_is_told_in(plain: MachineType) -> None:
    tapered = STAGED | {"taper_start": number("70"), "taper_pressure": number("6")}
    begun = fitted(tapered, plain)
    assert not {"taper_start", "taper_pressure"} & set(begun)


def test_added_edited_read_and_removed(
    cast: Cast, draft: Version, plain: MachineType, signed_in: SignedIn
) -> None:
    browser, page = signed_in(cast.head_roaster), edit(draft, plain)
    assert page in browser.get(reverse("recipes:variants", args=[draft.pk])).content.decode()
    assert "nothing is saved yet" in browser.get(page).content.decode()
    there = FLAT | {"basket": Stated(text="15 g")}
    answer = browser.post(page, typed(there, draft.revision))
    assert answer["Location"] == draft.get_absolute_url()
    now = Version.objects.get(pk=draft.pk)
    assert now.variants == {plain.pk: there}
    shown = unescape(browser.get(draft.get_absolute_url()).content.decode())
    assert "Variant for Plain" in shown
    assert page in shown
    gone = reverse("recipes:variant_remove", args=[draft.pk, plain.pk])
    assert browser.post(gone, {"revision": str(draft.revision)}).status_code == 412
    assert browser.post(gone, {"revision": str(now.revision)}).status_code == 302
    assert Version.objects.get(pk=draft.pk).variants == {}


def test_what_was_typed_stays_where_it_cannot_be_saved(
    cast: Cast, draft: Version, plain: MachineType, signed_in: SignedIn
) -> None:
    browser, page = signed_in(cast.head_roaster), edit(draft, plain)
    faulty = {**typed(FLAT, draft.revision), "dose_mass": "300", "grind_note": "Two finer"}
    answer = browser.post(page, faulty)
    assert answer.status_code == 400
    assert 'value="Two finer"' in answer.content.decode()
    assert not Version.objects.get(pk=draft.pk).variants


def test_working_it_out_saves_nothing(
    cast: Cast, draft: Version, plain: MachineType, signed_in: SignedIn
) -> None:
    sent = {**typed(STAGED, draft.revision), "work_out": "1"}
    shown = unescape(signed_in(cast.head_roaster).post(edit(draft, plain), sent).content.decode())
    assert "As it stands this type can't hold it" in shown
    assert not Version.objects.get(pk=draft.pk).variants


def test_whoever_signs_reads_every_variant(
    cast: Cast, varied: Version, plain: MachineType, signed_in: SignedIn
) -> None:
    waiting = sent_for_review(cast, varied)
    page = reverse("recipes:version_approve", args=[waiting.pk])
    shown = unescape(signed_in(cast.second_roaster).get(page).content.decode())
    assert "Variants, signed with it" in shown
    assert "34.0" in shown
    comparison = reverse("recipes:compare", args=[varied.recipe_id])
    make_draft(cast, varied.recipe, STAGED)
    beside = unescape(signed_in(cast.second_roaster).get(comparison).content.decode())
    assert "Plain: yield" in beside


def test_the_plan_says_which_stations_get_the_variant(
    both: Version, bar: Bar, signed_in: SignedIn
) -> None:
    page = reverse("recipes:publish_plan", args=[both.pk]) + "?where=all&slots=1,2"
    shown = unescape(signed_in(bar.cast.head_roaster).get(page).content.decode())
    assert shown.count("Variant for Plain") == 2  # once for the plan, once at its station


def test_the_plan_says_where_a_variant_alone_leaves_the_water_to_the_station(
    bar: Bar, signed_in: SignedIn
) -> None:
    draft = make_draft(bar.cast, make_recipe(bar.cast, "in stages"), STAGED)
    cup = Formula({code: FLAT[code] for code in FLAT if code != "water_volume"})
    version = signed(bar.cast, add_variant(bar.cast, draft, bar.plain, cup))
    page = reverse("recipes:publish_plan", args=[version.pk]) + "?where=all&slots=1"
    shown = text(signed_in(bar.cast.head_roaster).get(page))
    assert (
        "Each station with the variant for Plain gets the water that yields 34.0 g there."
        " Learnt from the check shots logged before" in shown
    )
    assert "Each station gets the water" not in shown


def test_the_way_out_of_a_refusal_is_a_variant(
    both: Version, bar: Bar, signed_in: SignedIn
) -> None:
    draft = make_draft(bar.cast, both.recipe, STAGED)
    browser = signed_in(bar.cast.head_roaster)
    refused = hindrances(plan_of(draft, bar.cast.head_roaster))
    (way,) = refused.types[0].machines[0].ways
    assert way.words == "Add a variant for this type"
    assert way.url == reverse("recipes:variants", args=[draft.pk]) + f"#type-{bar.plain.pk}"
    begin = reverse("recipes:variant_draft", args=[draft.pk, bar.plain.pk])
    led_to = browser.post(begin)["Location"]
    assert led_to == edit(draft.recipe.versions.all()[0], bar.plain)
    bar.plain.abilities.filter(parameter="brew_temperature").delete()
    refused = hindrances(plan_of(both, bar.cast.head_roaster))
    (way,) = refused.types[0].machines[0].ways
    assert way.words == "Change the variant for this type"


def test_a_request_for_a_change_says_that_variants_stay_as_they_are(
    both: Version, bar: Bar, signed_in: SignedIn
) -> None:
    lead, said = signed_in(bar.cast.shop_lead), "the variants for machine types stay as they are"
    for version, told in ((both, 1), (bar.version, 0)):
        request = ask(bar.cast, version)
        asked = reverse("recipes:request_new") + f"?version={version.pk}"
        for page in (asked, request.get_absolute_url()):
            assert text(lead.get(page)).count(said) == told


def test_a_shot_by_a_variant_leads_to_the_variant_that_aims_at_it(
    both: Version, bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    run.run(send(both).pk)
    browser = signed_in(bar.cast.head_roaster)
    for station, name in ((2, "variant_edit"), (0, "version_edit")):
        shot = log_shot(
            slot=bar.stations[station].slots.get(number=1), by=bar.cast.barista,
            shot=Weighed(Decimal("18.0"), Decimal("33.1"), Decimal(25)),
        )  # fmt: skip
        led_to = browser.post(reverse("recipes:draft_captured", args=[shot.pk]))["Location"]
        assert resolve(led_to).url_name == name
        assert 'value="33.1"' in browser.get(led_to).content.decode()
