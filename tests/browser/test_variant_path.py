"""A recipe in stages for machines that know none: from the refusal to a variant that is placed."""

from playwright.sync_api import Page, expect

from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from tests.bar import Bar
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.browser.test_main_path import press, sign
from tests.recipes.shelf import make_approved, make_recipe
from tests.recipes.variants.conftest import STAGED

WHERE = "publish/plan/?where=all&slots=1"


def test_from_the_refusal_to_a_variant_that_is_placed(open_page: OpenPage, bar: Bar) -> None:
    cast = bar.cast
    version = make_approved(cast, make_recipe(cast, "in stages"), STAGED)
    head = open_page(cast.head_roaster, f"/versions/{version.pk}/{WHERE}")
    written(head, bar)
    draft = version.recipe.versions.order_by("-number")[0]
    second = open_page(cast.second_roaster, draft.get_absolute_url())
    approved(second, bar)
    head.goto(head.url.split("/versions/")[0] + f"/versions/{draft.pk}/{WHERE}")
    placed(head, bar)
    run.run(Publication.objects.latest("pk").pk)
    slot = bar.stations[2].slots.get(number=1)
    lead = open_page(cast.shop_lead, slot.get_absolute_url(), screen="phone")
    expect(lead.get_by_text("variant for Plain")).to_be_visible()
    fits(lead)
    assert set(Version.objects.get(pk=draft.pk).variants) == {bar.plain.pk}


def written(page: Page, bar: Bar) -> None:
    """The way out leads to a draft with a variant, begun without what the type lacks."""
    page.get_by_role("link", name="Add a variant for this type").click()
    row = page.get_by_role("row").filter(has_text="Plain")
    expect(row).to_contain_text("can't set brew pressure")
    row.get_by_role("button", name="New draft with a variant").click()
    expect(page.get_by_role("heading", name="Variant for Plain")).to_be_visible()
    page.get_by_label("Yield in").fill("34")
    axe(page)
    press(page, "Save the variant")
    expect(page.get_by_role("columnheader", name="Variant for Plain")).to_be_visible()
    press(page, "Submit")


def approved(page: Page, bar: Bar) -> None:
    """The second roaster reads the variant beside the whole formula, and signs both."""
    press(page, "Read and sign")
    expect(page.get_by_role("heading", name="Variants, signed with it")).to_be_visible()
    axe(page)
    sign(page, bar.cast.second_roaster.email, "Sign and approve")


def placed(page: Page, bar: Bar) -> None:
    """The plan says which machines get the variant; nothing is refused."""
    table = page.get_by_role("table", name="Machine types that get a variant")
    expect(table).to_contain_text("Variant for Plain")
    expect(page.get_by_role("heading", name="Refused")).to_have_count(0)
    axe(page)
    page.get_by_label("Reason").fill("Stages where they can be held")
    sign(page, bar.cast.head_roaster.email, "Sign and publish")
