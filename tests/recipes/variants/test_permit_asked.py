"""A bar asks for a permit to differ from what its slots hold: from a variant, where it is one."""

from decimal import Decimal
from functools import partial

import pytest

from audit.errors import Invalid
from recipes.permits.asking import ask_for_permit, change_permit_request
from recipes.publishing import run
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from stations.equipment.models import Slot
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish
from tests.recipes.permits.test_asking import soon
from tests.recipes.shelf import make_draft, make_recipe, number
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, signed

pytestmark = pytest.mark.django_db
WHOLE, VARIANT = Decimal("93.0"), Decimal("91.0")  # °C


@pytest.fixture
def cooler(bar: Bar, send: Publish) -> Version:
    """In force everywhere: its variant for the plain machine brews cooler than the whole."""
    draft = make_draft(bar.cast, make_recipe(bar.cast, "in stages"), STAGED)
    flat = FLAT | {"brew_temperature": number(str(VARIANT), "0.5", "0.5")}
    version = signed(bar.cast, add_variant(bar.cast, draft, bar.plain, flat))
    run.run(send(version).pk)
    return version


def asking(bar: Bar, version: Version, *stations: int) -> partial[ChangeRequest]:
    slots = Slot.objects.filter(station__in=[bar.stations[each] for each in stations], number=1)
    return partial(
        ask_for_permit, by=bar.cast.shop_lead, base=version, site=bar.cast.site, ends_at=soon(),
        slots=list(slots.values_list("pk", flat=True)), reason="Gasket worn",
    )  # fmt: skip


def test_what_the_slot_holds_is_no_change_and_the_whole_formulas_value_is(
    bar: Bar, cooler: Version
) -> None:
    ask = asking(bar, cooler, 2)
    with pytest.raises(Invalid, match="other than what the slots hold"):
        ask(changes={"brew_temperature": VARIANT})
    request = ask(changes={"brew_temperature": WHOLE, "water_volume": Decimal(75)})
    assert request.proposed.target("brew_temperature") == WHOLE
    now = change_permit_request(
        by=bar.cast.shop_lead, request=request, revision=request.revision, ends_at=soon(),
        slots=asking(bar, cooler, 0).keywords["slots"], reason="The other machine",
        changes={"brew_temperature": WHOLE, "water_volume": Decimal(75)},
    )  # fmt: skip
    assert set(now.proposed) == {"water_volume"}


def test_slots_of_both_kinds_may_be_asked_for_either_value(bar: Bar, cooler: Version) -> None:
    for value in (WHOLE, VARIANT):
        request = asking(bar, cooler, 0, 2)(changes={"brew_temperature": value})
        assert request.proposed.target("brew_temperature") == value


def test_whoever_decides_sees_every_value_beside_what_the_slots_hold(
    bar: Bar, cooler: Version, signed_in: SignedIn
) -> None:
    roaster = signed_in(bar.cast.head_roaster)
    request = asking(bar, cooler, 2)(changes={"brew_temperature": WHOLE})
    shown = roaster.get(request.get_absolute_url())
    [row] = shown.context["rows"]
    assert (row["old"], row["new"], row["differs"]) == (VARIANT, WHOLE, True)
    assert f"Version {cooler.number} for Plain" in shown.content.decode()
    both = asking(bar, cooler, 0, 2)(changes={"brew_temperature": WHOLE})
    assert ">Brew temperature" in roaster.get(both.get_absolute_url()).content.decode()
