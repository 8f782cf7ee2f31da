"""Endpoint: slot by slot what each should hold and does hold, now or at another moment."""

from datetime import datetime
from typing import Any

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from audit.errors import Invalid
from people.persons.verbs import Verb
from recipes.coffees.models import Coffee, Recipe
from recipes.grid.asked import PASSED, STATES, Asked
from recipes.grid.asked import checked as in_order
from recipes.grid.cells import Cell, Held, cells_of
from recipes.grid.matching import fitting
from stations.equipment.models import Slot
from stations.slots.then import Moment
from web.api import Listing, person
from web.api import asked as asked_of
from web.paging import KeysetPagination


class GridQuery(serializers.Serializer[Any]):
    """Which slots, and the two moments; a moment without an offset is one of UTC."""

    site = serializers.SlugField(max_length=20, required=False, help_text="code of a site")
    coffee = serializers.PrimaryKeyRelatedField(queryset=Coffee.objects.all(), required=False)
    recipe = serializers.PrimaryKeyRelatedField(queryset=Recipe.objects.all(), required=False)
    state = serializers.ChoiceField([(each, each) for each in STATES], required=False)
    as_of = serializers.DateTimeField(required=False)
    since = serializers.DateTimeField(
        required=False,
        help_text="compares what slots should hold, not how they were read back",
    )


class GridShots(serializers.Serializer[Any]):
    """The newest check shots of what the slot held: up to five, and how many were out."""

    count = serializers.IntegerField()
    out = serializers.IntegerField()
    newest = serializers.DateTimeField(allow_null=True)


class GridHeld(serializers.Serializer[Any]):
    """What a slot held at a moment; `read` is how the newest read-back compared by then."""

    condition = serializers.CharField()
    title = serializers.CharField()
    placement = serializers.IntegerField(allow_null=True)
    coffee = serializers.IntegerField(allow_null=True)
    recipe = serializers.IntegerField(allow_null=True)
    version = serializers.IntegerField(allow_null=True)
    read = serializers.CharField()


class GridSlot(GridHeld):
    """A slot, what it holds (or held), its last shots, and what it held before."""

    slot = serializers.IntegerField()
    number = serializers.IntegerField()
    station = serializers.IntegerField()
    site = serializers.CharField()
    shots = GridShots()
    before = GridHeld(allow_null=True)


class Grid(Listing):
    """Every slot one's roles cover, now or at a moment that has passed."""

    verb = Verb.SLOT_VIEW
    query = GridQuery

    @extend_schema(responses=GridSlot(many=True))
    def get(self, request: Request) -> Response:
        """List slots, newest first: what each holds as of a moment, and held before another."""
        found = asked_of(GridQuery, request)
        wanted = Asked(
            coffee=found.get("coffee"), recipe=found.get("recipe"), state=found.get("state", ""),
            at=_moment("as_of", found), since=_moment("since", found),
        )  # fmt: skip
        asked = in_order(wanted)
        rows = fitting(person(request), asked).select_related("station__machine__site")
        if "site" in found:
            rows = rows.filter(station__machine__site__code=found["site"])
        pages = KeysetPagination()
        page: list[Slot] = pages.paginate_queryset(rows, request, self) or []
        return pages.answered(GridSlot, [_told(cell) for cell in cells_of(page, asked)])


def _moment(name: str, found: dict[str, Any]) -> Moment | None:
    """The instant asked for. Raises Invalid for one still to come."""
    at: datetime | None = found.get(name)
    if at is not None and at > timezone.now():
        raise Invalid(name, at.isoformat(), PASSED)
    return Moment(at) if at else None


def _told(cell: Cell) -> dict[str, Any]:
    slot, shots = cell.slot, cell.shots
    return {
        **_held(cell.held),
        "slot": slot.pk,
        "number": slot.number,
        "station": slot.station_id,
        "site": slot.station.machine.site.code,
        "shots": {
            "count": len(shots), "out": cell.out, "newest": shots[0].at if shots else None,
        },
        "before": _held(cell.before) if cell.before else None,
    }  # fmt: skip


def _held(held: Held) -> dict[str, Any]:
    version = held.version
    return {
        "condition": held.condition,
        "title": held.title,
        "placement": held.placement.pk if held.placement else None,
        "coffee": version.recipe.coffee_id if version else None,
        "recipe": version.recipe_id if version else None,
        "version": version.pk if version else None,
        "read": held.read,
    }
