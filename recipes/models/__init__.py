"""Recipes, and the decisions about them."""

from recipes.models.change_request import ChangeRequest, ChangeRequestValue
from recipes.models.coffee import Coffee, RoastLot
from recipes.models.permit import Permit, PermitChange, PermitSlot
from recipes.models.publication import Publication, PublicationSite
from recipes.models.recipe import Recipe
from recipes.models.shot_fit import ShotFit
from recipes.models.tasting import Tasting, TastingAnswer
from recipes.models.version import Comment, FormulaValue, Version

__all__ = [
    "ChangeRequest",
    "ChangeRequestValue",
    "Coffee",
    "Comment",
    "FormulaValue",
    "Permit",
    "PermitChange",
    "PermitSlot",
    "Publication",
    "PublicationSite",
    "Recipe",
    "RoastLot",
    "ShotFit",
    "Tasting",
    "TastingAnswer",
    "Version",
]
