"""A change request, as tests make one."""

from recipes.formula.formula import Formula
from recipes.requests.actions import make_request
from recipes.requests.models import ChangeRequest
from recipes.versions.models import Version
from tests.cast import Cast
from tests.recipes.shelf import number

HOTTER: Formula = {"brew_temperature": number("94.0", "0.5", "0.5")}


def ask(cast: Cast, base: Version, proposals: Formula = HOTTER) -> ChangeRequest:
    """The shop lead asks for the harbour."""
    return make_request(
        by=cast.shop_lead, base=base, site=cast.site, proposals=proposals, reason="Sour at 93."
    )
