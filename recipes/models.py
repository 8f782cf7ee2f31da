"""Recipes, and the decisions about them."""

from recipes.coffees.models import Coffee, Recipe, RoastLot
from recipes.menus.models import Following, Menu, MenuDrink, MenuVersion
from recipes.modelling.models import ShotFit
from recipes.permits.models import Permit, PermitChange, PermitSlot
from recipes.publishing.models import Publication, PublicationSite
from recipes.requests.models import (
    AnswerSeen,
    ChangeRequest,
    ChangeRequestValue,
    RequestEvidence,
    RequestSlot,
)
from recipes.tastings.models import Tasting, TastingAnswer
from recipes.variants.models import VariantValue
from recipes.versions.models import Answer, Comment, FormulaValue, Version

__all__ = [
    "Answer",
    "AnswerSeen",
    "ChangeRequest",
    "ChangeRequestValue",
    "Coffee",
    "Comment",
    "Following",
    "FormulaValue",
    "Menu",
    "MenuDrink",
    "MenuVersion",
    "Permit",
    "PermitChange",
    "PermitSlot",
    "Publication",
    "PublicationSite",
    "Recipe",
    "RequestEvidence",
    "RequestSlot",
    "RoastLot",
    "ShotFit",
    "Tasting",
    "TastingAnswer",
    "VariantValue",
    "Version",
]
