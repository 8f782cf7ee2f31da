"""What is still to be done until a first recipe stands in a slot, for who sets a deployment up.

Nothing is kept of it: each step is done when what it asks for is there, and with the first
placement the list is gone.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Count, Exists, Q
from django.urls import reverse

from people.persons.models import Assignment, User
from people.persons.permissions import may, may_everywhere
from people.persons.verbs import MAY, Role, Verb
from people.policy.models import Policy
from recipes.coffees.models import Coffee, Recipe
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.machine_types.models import MachineType
from stations.slots.models import Placement


@dataclass(frozen=True, slots=True)
class Step:
    """One step; without `url` it is somebody else's to do."""

    text: str
    done: bool
    url: str = ""
    by: str = ""  # who does it, where that is somebody else


# Text, who does it, where. The order is that in which one can't do without the one before.
STEPS = (
    (
        "Add a machine type: what machines can be set to",
        Verb.EQUIPMENT_EDIT,
        "stations:machine_types",
    ),
    ("Add bars and machines from one file", Verb.EQUIPMENT_IMPORT, "stations:import"),
    (
        "Add people: one who drafts, another who approves",
        Verb.PEOPLE_MANAGE,
        "people:list",
    ),
    ("Add the first coffee", Verb.COFFEE_EDIT, "recipes:coffee_add"),
    ("Draft its recipe", Verb.RECIPE_DRAFT, "recipes:recipe_add"),
    ("Have it approved by somebody else", Verb.RECIPE_APPROVE, "recipes:recipes"),
    ("Publish it to the slots", Verb.PUBLICATION_PLAN, "recipes:recipes"),
)

ROASTER_DOES, OWNER_DOES = "a head roaster does this", "an owner does this"


def first_steps(user: User) -> list[Step]:
    """The steps, done ones among them; none once anything was placed. At most two queries.

    Only for who manages people or drafts recipes at every site: others can't begin anything.
    """
    begins = may_everywhere(user, Verb.PEOPLE_MANAGE) or may_everywhere(user, Verb.RECIPE_DRAFT)
    if not begins or Placement.objects.exists():
        return []
    return [
        Step(text, done, url=reverse(where))
        if may(user, verb)
        else Step(text, done, by=ROASTER_DOES if Role.OWNER not in MAY[verb] else OWNER_DOES)
        for (text, verb, where), done in zip(STEPS, _done(user), strict=True)
    ]


def _done(user: User) -> Iterable[bool]:
    """For each step whether what it asks for is there."""
    roasters = (
        Assignment.objects.filter(role=Role.HEAD_ROASTER, user__is_active=True)
        .order_by()
        .values("role")
        .annotate(people=Count("user", distinct=True))
    )
    # One roaster is enough where the policy lets them approve what they drafted.
    enough = Q(Exists(roasters.filter(people__gte=2))) | Q(
        Exists(roasters) & Exists(Policy.objects.filter(sole_roaster=True))
    )
    asked = (
        Exists(MachineType.objects.all()),
        Exists(Station.objects.all()),
        enough,
        Exists(Coffee.objects.all()),
        Exists(Recipe.objects.all()),
        Exists(Version.objects.approved()),
    )
    named = {f"step_{number}": each for number, each in enumerate(asked)}
    return (*User.objects.filter(pk=user.pk).annotate(**named).values_list(*named).get(), False)
