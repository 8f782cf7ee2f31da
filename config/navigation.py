"""The pages every page leads to: each with the verbs that make it worth showing to somebody."""

from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import reverse

from people.persons.models import User
from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb


@dataclass(frozen=True, slots=True)
class Place:
    """A page in the navigation; shown where any of its verbs is allowed somewhere.

    `also` are the beginnings of other addresses that belong to it; with `everywhere` only a role
    that covers all sites counts.
    """

    label: str
    url_name: str
    verbs: tuple[Verb, ...]
    setup: bool = False
    also: tuple[str, ...] = ()
    everywhere: bool = False


@dataclass(frozen=True, slots=True)
class NavItem:
    """One link as the template needs it; `apart` sets a new group off from the one before."""

    label: str
    url: str
    here: bool
    apart: bool


PLACES = (
    Place("Home", "home", (Verb.RECIPE_VIEW,)),
    Place("Board", "stations:board", (Verb.SLOT_VIEW,)),
    Place("Grid", "recipes:grid", (Verb.SLOT_VIEW,)),
    Place(
        "Recipes",
        "recipes:recipes",
        (Verb.RECIPE_VIEW,),
        also=("/versions/", "/menus/", "/menu-versions/"),
    ),
    Place("Publications", "recipes:publications", (Verb.REQUEST_MAKE, Verb.HISTORY_VIEW)),
    Place("Requests", "recipes:requests", (Verb.REQUEST_MAKE, Verb.HISTORY_VIEW)),
    Place("Permits", "recipes:permits", (Verb.REQUEST_MAKE, Verb.HISTORY_VIEW)),
    Place("Tastings", "recipes:tastings", (Verb.TASTING_RUN, Verb.HISTORY_VIEW)),
    Place("History", "audit:history", (Verb.HISTORY_VIEW,)),
    Place("Coffees", "recipes:coffees", (Verb.COFFEE_EDIT,), setup=True),
    Place(
        "Sites",
        "stations:sites",
        (Verb.EQUIPMENT_VIEW,),
        setup=True,
        also=("/machines/", "/stations/", "/slots/", "/shots/", "/at/", "/equipment/"),
    ),
    Place("Calibrations", "stations:calibrations", (Verb.CALIBRATION_RECORD,), setup=True),
    Place("Machine types", "stations:machine_types", (Verb.SITE_EDIT,), setup=True),
    Place("People", "people:list", (Verb.PEOPLE_MANAGE,), setup=True),
    Place("Policy", "people:policy", (Verb.POLICY_SET,), setup=True, everywhere=True),
)


def _here(path: str, url: str, also: tuple[str, ...]) -> bool:
    return path == url if url == "/" else path.startswith((url, *also))


def _leads(user: User, place: Place) -> bool:
    asked = may_everywhere if place.everywhere else may
    return any(asked(user, verb) for verb in place.verbs)


def places_for(user: User, path: str) -> list[NavItem]:
    """The links this person has a use for, the one they are at marked."""
    allowed = [place for place in PLACES if _leads(user, place)]
    first_setup = next((place for place in allowed if place.setup), None)
    return [
        NavItem(p.label, url := reverse(p.url_name), _here(path, url, p.also), p is first_setup)
        for p in allowed
    ]


def places(request: HttpRequest) -> dict[str, object]:
    """Context of every page: the navigation, and where account and sign-out are."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {}
    return {
        "nav": places_for(user, request.path),
        "account_url": reverse("account_change_password"),
        "sign_out_url": reverse("account_logout"),
    }
