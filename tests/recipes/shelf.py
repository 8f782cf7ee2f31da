"""What recipes' tests start from: a coffee, a recipe, versions in each state, a request."""

from decimal import Decimal

from people.persons.models import User
from recipes.coffees.actions import add_coffee, add_recipe
from recipes.coffees.models import Recipe
from recipes.formula.formula import Formula, Given
from recipes.requests.actions import make_request
from recipes.requests.models import ChangeRequest
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from recipes.versions.questions import questions_about
from recipes.versions.review import approve, submit
from stations.metrology.formula import Stated
from tests.cast import Cast, credentials


def number(target: str, below: str | None = None, above: str | None = None) -> Stated:
    """An entry from digits."""
    low, high = (None if side is None else Decimal(side) for side in (below, above))
    return Stated(Decimal(target), low, high)


FORMULA = Formula(
    {
        "dose_mass": number("18.0", "0.1", "0.1"),
        "beverage_mass": number("36.0", "2", "2"),
        "water_volume": number("70", "2", "2"),
        "brew_temperature": number("93.0", "0.5", "0.5"),
        "ends_by": Stated(text="volume"),
    }
)


def make_recipe(cast: Cast, drink: str = "espresso") -> Recipe:
    """A recipe of a coffee of its own."""
    coffee = add_coffee(by=cast.head_roaster, name=f"House {drink}", rest_from=7, rest_to=30)
    return add_recipe(by=cast.head_roaster, coffee=coffee, drink=drink)


def make_draft(cast: Cast, recipe: Recipe, formula: Given = FORMULA) -> Version:
    """A draft of the head roaster's that says `formula`."""
    draft = new_draft(by=cast.head_roaster, recipe=recipe)
    return edit_draft(by=cast.head_roaster, version=draft, revision=draft.revision, values=formula)


def reasons(version: Version, by: User) -> dict[str, str]:
    """A reason for whatever is unusual of a draft."""
    return {each.key: "Meant so." for each in questions_about(version, by)}


def make_in_review(cast: Cast, recipe: Recipe, formula: Given = FORMULA) -> Version:
    """A submitted version of the head roaster's."""
    draft = make_draft(cast, recipe, formula)
    return submit(by=cast.head_roaster, version=draft, revision=draft.revision)


def make_approved(cast: Cast, recipe: Recipe, formula: Given = FORMULA) -> Version:
    """A version that the second roaster has signed."""
    version = make_in_review(cast, recipe, formula)
    return approve(
        by=cast.second_roaster,
        version=version,
        credentials=credentials(cast.second_roaster),
        seen=version.content_digest,
    )


HOTTER = Formula({"brew_temperature": number("94.0", "0.5", "0.5")})


def ask(cast: Cast, base: Version, proposals: Given = HOTTER) -> ChangeRequest:
    """The shop lead asks for the harbour."""
    return make_request(
        by=cast.shop_lead, base=base, site=cast.site, proposals=proposals, reason="Sour at 93."
    )
