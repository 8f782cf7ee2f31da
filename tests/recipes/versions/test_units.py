"""A formula typed in °F and oz: exact, signed as stored, and unchanged by showing and saving it."""

import re
from decimal import Decimal

from django.test import Client
from django.urls import reverse

from people.units.actions import choose_units
from recipes.versions.models import Version
from recipes.versions.review import approve, submit
from tests.cast import Cast, SignedIn, credentials
from web.models import TypedFigure

TYPED = {"brew_temperature": "200", "brew_temperature_below": "0.9", "dose_mass": "0.63",
         "dose_mass_above": "0.2 g"}  # fmt: skip
BOX = re.compile(r'name="(\w+)"(?:[^>]*?value="([^"]*)")?')
NOT_TYPED = {"csrfmiddlewaretoken", "sent_once"}
KEPT = {"brew_temperature": "93.333333", "dose_mass": "17.86019956875"}


def boxes(browser: Client, path: str) -> dict[str, str]:
    """What stands in the boxes of the edit form, and what is chosen of its lists."""
    page = browser.get(path).content.decode()
    inputs = [BOX.search(one) for one in re.findall(r"<input[^>]*>", page)]
    found = {one[1]: one[2] or "" for one in inputs if one and one[1] not in NOT_TYPED}
    return {**found, "ends_by": "volume", "lot": "", "note": ""}


def test_typed_shown_signed_and_saved_again(
    cast: Cast, draft: Version, signed_in: SignedIn
) -> None:
    me = cast.head_roaster
    choose_units(by=me, revision=me.revision, temperatures="[degF]", masses="[oz_av]")
    browser, path = signed_in(me), reverse("recipes:version_edit", args=[draft.pk])
    sent = boxes(browser, path)
    assert (sent["brew_temperature"], sent["brew_temperature_below"]) == ("199.4", "0.9")
    assert browser.post(path, {**sent, **TYPED}).status_code == 302
    kept = Version.objects.get(pk=draft.pk).stated
    assert {code: format(kept.of(code).target or 0, "f") for code in KEPT} == KEPT
    assert (kept.of("brew_temperature").below, kept.of("dose_mass").above) == (
        Decimal("0.5"),
        Decimal("0.2"),
    )
    typed = {
        one.field: (one.value, one.unit, one.subject_type) for one in TypedFigure.objects.all()
    }
    assert typed["brew_temperature"] == (Decimal(200), "[degF]", "recipe")
    assert "brew_temperature_below" not in typed  # it was not changed
    page = browser.get(reverse("recipes:version", args=[draft.pk])).content.decode()
    assert '<span class="qty-num">200</span>' in page
    assert '<span class="qty-num">0.63</span>' in page
    assert boxes(browser, path)["brew_temperature"] == "200"
    version = Version.objects.get(pk=draft.pk)
    version = submit(by=me, version=version, revision=version.revision)
    version = approve(
        by=cast.second_roaster, version=version, credentials=credentials(cast.second_roaster),
        seen=version.content_digest,
    )  # fmt: skip
    assert version.state == "approved"  # the database worked out the same digest


def test_nobody_s_draft_changes_by_being_opened_and_saved(
    cast: Cast, draft: Version, signed_in: SignedIn
) -> None:
    me = cast.head_roaster
    choose_units(by=me, revision=me.revision, temperatures="[degF]", masses="[oz_av]")
    browser, path = signed_in(me), reverse("recipes:version_edit", args=[draft.pk])
    before = draft.stated
    assert browser.post(path, boxes(browser, path)).status_code == 302
    assert not before.differing(Version.objects.get(pk=draft.pk).stated)
    assert not TypedFigure.objects.exists()
