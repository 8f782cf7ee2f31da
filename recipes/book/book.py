"""What a recipe book says: coffee by coffee, each recipe's approved version and a code for it."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby

import segno

from recipes.coffees.models import Coffee
from recipes.formula.display import Row, ratio_words, rows
from recipes.formula.formula import Formula
from recipes.versions.digest import content_digest
from recipes.versions.models import Version


@dataclass(frozen=True, slots=True)
class Leaf:
    """One recipe: its approved version, and the address that its code opens."""

    version: Version
    lines: list[Row]
    ratio: str
    address: str

    @property
    def code(self) -> segno.QRCode:
        """Its QR code, with medium correction: a book at a bar gets splashed."""
        return segno.make(self.address, error="m", micro=False)

    @property
    def code_image(self) -> str:
        """The code as a picture."""
        image: str = self.code.svg_data_uri(border=2)
        return image

    @property
    def intact(self) -> bool:
        """Whether it still says what was signed: what was altered is not shown as a setting."""
        return self.version.content_digest == content_digest(self.version)


@dataclass(frozen=True, slots=True)
class Chapter:
    """A coffee with its recipes, in order of their drinks."""

    coffee: Coffee
    leaves: list[Leaf]


def chapters(absolute: Callable[[str], str]) -> list[Chapter]:
    """Every approved recipe, by the names of coffee and drink: two queries, whatever their number.

    `absolute` makes an address of this house out of a path. The recipe's own page is meant: the
    version printed may be superseded by the time that somebody scans it.
    """
    approved = Version.objects.approved().with_recipe().with_formula()
    order = ("recipe__coffee__name", "recipe__coffee", "recipe__drink", "recipe")
    by_coffee = groupby(approved.order_by(*order), key=lambda version: version.recipe.coffee)
    return [
        Chapter(coffee, [_leaf(version, absolute) for version in versions])
        for coffee, versions in by_coffee
    ]


def _leaf(version: Version, absolute: Callable[[str], str]) -> Leaf:
    formula = version.stated
    address = absolute(version.recipe.get_absolute_url())
    return Leaf(version, rows(Formula(), formula), ratio_words(formula), address)
