"""A recipe in stages, with a variant of flat pressure for machines that know none."""

from collections.abc import Callable

import pytest

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula, Given
from recipes.variants.actions import set_variant
from recipes.versions.models import Version
from recipes.versions.review import approve, submit
from stations.machine_types.models import MachineType
from tests.bar import PLAIN, Bar, machine_type
from tests.cast import Cast, credentials
from tests.publishing import send
from tests.recipes.shelf import FORMULA, make_draft, make_recipe, number, reasons

__all__ = ["send"]

STAGES = Formula(
    {
        "preinfusion_time": number("6", "1", "1"),
        "preinfusion_pressure": number("2", "0.5", "0.5"),
        "brew_pressure": number("9", "0.5", "0.5"),
    }
)
STAGED = FORMULA | STAGES
FLAT = FORMULA | {
    "beverage_mass": number("34.0", "3", "3"),
    "shot_time": number("26", "4", "4"),
}


def add_variant(
    cast: Cast, version: Version, machine_type: MachineType, formula: Given = FLAT
) -> Version:
    """The head roaster writes it."""
    return set_variant(
        by=cast.head_roaster, version=version, machine_type=machine_type,
        revision=Version.objects.get(pk=version.pk).revision, values=formula,
    )  # fmt: skip


def sent_for_review(cast: Cast, version: Version) -> Version:
    """Submitted, with a reason for whatever is unusual."""
    now = Version.objects.get(pk=version.pk)
    by = cast.head_roaster
    return submit(by=by, version=now, revision=now.revision, answers=reasons(now, by))


def signed(cast: Cast, version: Version) -> Version:
    """The same, and approved by the second roaster."""
    waiting = sent_for_review(cast, version)
    by = cast.second_roaster
    seen = waiting.content_digest
    return approve(by=by, version=waiting, credentials=credentials(by), seen=seen)


@pytest.fixture
def plain(cast: Cast) -> MachineType:
    """Machines without stages."""
    with recorded(by=None, action=PERSON_ADDED):
        return machine_type("Plain", PLAIN)


@pytest.fixture
def varied(cast: Cast, recipe: Recipe, plain: MachineType) -> Version:
    """A draft in stages with a variant for plain machines."""
    return add_variant(cast, make_draft(cast, recipe, STAGED), plain)


@pytest.fixture
def both(bar: Bar) -> Version:
    """Approved: stages for the bar's full machines, a variant for its plain one."""
    draft = make_draft(bar.cast, make_recipe(bar.cast, "in stages"), STAGED)
    return signed(bar.cast, add_variant(bar.cast, draft, bar.plain))


Attempt = Callable[[], object]
