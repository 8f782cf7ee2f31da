"""What was signed of a variant is told apart from what somebody made of it past the guards."""

from collections.abc import Callable
from html import unescape

import pytest
from django.test import Client

from recipes.planning.served import misfits
from recipes.publishing import run
from recipes.publishing.models import Publication
from recipes.versions.models import Version
from stations.slots.models import Placement
from tests.bar import Bar
from tests.publishing import Publish
from tests.recipes.calibrating import accept, measure
from tests.recipes.menus import spring
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.test_signed_content import CHANGED, SAME, tamper

pytestmark = pytest.mark.django_db
NO_LONGER = (
    "UPDATE stations_controlsettings SET variant_id = NULL WHERE id IN (SELECT settings_id FROM"
    " stations_placement WHERE basis = %s AND basis_id = %s)"
)
OTHERWISE = "UPDATE recipes_variantvalue SET target = target + 1 WHERE version_id = %s"
Make = Callable[[Bar, Version, Publish], tuple[str, int, str]]


def of_a_version(bar: Bar, both: Version, send: Publish) -> tuple[str, int, str]:
    made = send(both)
    run.run(made.pk)
    return "publication", made.pk, made.get_absolute_url()


def of_a_menu(bar: Bar, both: Version, send: Publish) -> tuple[str, int, str]:
    menu = spring.approved(bar, {1: both, 2: bar.version})
    spring.follows(menu.menu, bar.cast)
    made = spring.sent(menu, bar.cast.head_roaster)
    run.run(made.pk)
    return "publication", made.pk, Publication.objects.get(pk=made.pk).get_absolute_url()


def of_a_permit(bar: Bar, both: Version, send: Publish) -> tuple[str, int, str]:
    of_a_version(bar, both, send)
    slot = bar.stations[2].slots.get(number=1)
    made = permit([slot], bar.cast.head_roaster)
    return "permit", made.pk, made.get_absolute_url()


def of_a_calibration(bar: Bar, both: Version, send: Publish) -> tuple[str, int, str]:
    of_a_version(bar, both, send)
    made = accept(measure(bar.stations[2], "4.3", bar.cast.technician), bar.cast.technician)
    return "re_translation", made.pk, made.get_absolute_url()


MADE: list[Make] = [of_a_version, of_a_menu, of_a_permit, of_a_calibration]


def told(bar: Bar, address: str) -> str:
    browser = Client()
    browser.force_login(bar.cast.owner)
    return unescape(browser.get(address).content.decode())


@pytest.mark.parametrize("make", MADE)
def test_whatever_was_signed_says_so_until_its_variant_is_altered(
    bar: Bar, both: Version, send: Publish, make: Make
) -> None:
    basis, pk, address = make(bar, both, send)
    page = told(bar, address)
    assert SAME in page
    assert CHANGED not in page
    assert not misfits(list(Placement.objects.in_force().select_related(*PARTS)))
    tamper(NO_LONGER, basis, pk)
    assert CHANGED in told(bar, address)
    mine = Placement.objects.in_force().filter(basis=basis, basis_id=pk)
    varied = {each.pk for each in mine.filter(slot__station=bar.stations[2])}
    if basis == "publication" and make is of_a_menu:
        varied = {each.pk for each in mine.filter(slot__station=bar.stations[2], slot__number=1)}
    found = misfits(list(Placement.objects.in_force().select_related(*PARTS)))
    assert set(found) == varied
    assert all("variant" in why for why in found.values())


PARTS = ("settings", "signature", "slot")


def test_an_approval_whose_variant_was_altered(bar: Bar, both: Version) -> None:
    assert SAME in told(bar, both.get_absolute_url())
    tamper(OTHERWISE, both.pk)
    assert CHANGED in told(bar, both.get_absolute_url())
