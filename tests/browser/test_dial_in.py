"""From a free slot set by hand, over a good shot, to a draft with everything in it."""

from playwright.sync_api import expect

from recipes.versions.models import Version
from stations.slots.by_hand import set_by_hand
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.browser.test_main_path import press


def test_a_good_shot_becomes_a_draft(open_page: OpenPage, bar: Bar) -> None:
    slot = bar.slots[0]
    able = {each.parameter for each in slot.station.machine.machine_type.abilities.all()}
    dialled = {"water_volume": "280", "brew_temperature": "92.5", "ends_by": "volume"}
    set_by_hand(
        slot=slot, by=bar.cast.shop_lead,
        values={code: said for code, said in dialled.items() if code in {*able, "ends_by"}},
    )  # fmt: skip
    page = open_page(bar.cast.head_roaster, f"/slots/{slot.pk}/shots/new/", screen="phone")
    page.get_by_label("Dose").fill("18.3")
    page.get_by_label("Yield").fill("40.2")
    page.get_by_label("Shot time").fill("29.5")
    press(page, "Log shot")
    press(page, "Draft from this shot")
    axe(page)
    fits(page)
    expect(page.get_by_role("table", name="Formula")).to_contain_text("18.3")
    page.get_by_label("Recipe").select_option(str(bar.version.recipe))
    press(page, "Begin the draft")
    expect(page.locator("main .mark").first).to_have_text("Draft")
    draft = Version.objects.latest("pk")
    says = draft.stated
    assert f"{says['dose_mass'].target:f}" == "18.3"
    assert f"{says['beverage_mass'].target:f}" == "40.2"
    assert says["water_volume"].target
