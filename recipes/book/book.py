"""What a recipe book says: coffee by coffee, each recipe's approved version and a code for it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import groupby

import segno

from recipes.coffees.models import Coffee
from recipes.formula.display import Row, ratio_words, rows
from recipes.formula.formula import Formula
from recipes.versions.complete import names_of
from recipes.versions.digest import content_digest
from recipes.versions.models import Version


@dataclass(frozen=True, slots=True)
class Leaf:
    """One recipe: its approved version, and the address that its code opens."""

    version: Version
    lines: list[Row]
    ratio: str
    address: str
    variants: list[tuple[str, list[Row]]] = field(default_factory=list)
    """By machine type (its name), what differs for it from the lines."""

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
    """Every approved recipe, by the names of coffee and drink: three queries, however many.

    One more where there are variants.

    `absolute` makes an address of this house out of a path. The recipe's own page is meant: the
    version printed may be superseded by the time that somebody scans it.
    """
    approved = Version.objects.approved().with_recipe().with_formula()
    order = ("recipe__coffee__name", "recipe__coffee", "recipe__drink", "recipe")
    found = list(approved.order_by(*order))
    names = names_of({pk for version in found for pk in version.variants})
    by_coffee = groupby(found, key=lambda version: version.recipe.coffee)
    return [
        Chapter(coffee, [_leaf(version, names, absolute) for version in versions])
        for coffee, versions in by_coffee
    ]


def _leaf(version: Version, names: Mapping[int, str], absolute: Callable[[str], str]) -> Leaf:
    formula = version.stated
    variants = [
        (names[pk], [row for row in rows(formula, variant) if row["differs"]])
        for pk, variant in version.variants.items()
    ]
    address = absolute(version.recipe.get_absolute_url())
    return Leaf(version, rows(Formula(), formula), ratio_words(formula), address, variants)
