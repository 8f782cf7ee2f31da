"""What of slots is worth hearing of: something to load, and slots that differ."""

from collections.abc import Iterable
from datetime import timedelta

from django.db.models import Count, Max, Min, OuterRef, Subquery
from django.urls import reverse
from django.utils import timezone

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from stations.slots.models import Placement, ReadBack
from web.printing import counted

LATELY = timedelta(minutes=5)  # what was read longer ago may have come in late, from a device
LOADING = timedelta(minutes=10)  # a gateway needs less; what it loads is no matter for anybody


def to_load() -> Iterable[Found]:
    """By site, and by what was signed: somebody keys in a whole site at a time."""
    waiting = Placement.objects.to_load().values("site", "site__name", "basis", "basis_id")
    # What was signed is often one version for many slots; a menu's drinks are not named.
    named = waiting.annotate(
        slots=Count("pk"), what=Min("settings__title"), others=Max("settings__title")
    )
    for row in named.order_by("site", "basis", "basis_id"):
        one = f"{row['what']}. " if row["what"] == row["others"] else ""
        yield Found(
            key=f"{row['site']}:{row['basis']}:{row['basis_id']}",
            title=f"{row['site__name']}: {counted(row['slots'], 'slot')} to load",
            words=f"{one}Key in and read back, or see why the gateway did not.",
            url=reverse("stations:to_key", args=[row["site"]]),
            sites=(row["site"],),
        )


def differing() -> Iterable[Found]:
    """Slot by slot, for as long as the same placement is in force there."""
    read = ReadBack.objects.filter(placement=OuterRef("pk")).order_by("-pk").values("at")[:1]
    rows = Placement.objects.differing().values_list(
        "pk", "slot_id", "slot__number", "slot__station__number",
        "slot__station__machine__name", "site_id", "site__name", "settings__title", Subquery(read),
    )  # fmt: skip
    for pk, slot, number, station, machine, site, place, title, since in rows.order_by("pk"):
        yield Found(
            key=str(pk),
            title=f"{place}: slot {number} of {machine}, station {station} differs",
            words=f"It should hold {title}.",
            url=reverse("stations:slot", args=[slot]),
            sites=(site,),
            since=since if since and since > timezone.now() - LATELY else None,
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("to_load", "Something to load", Verb.SLOT_READ_BACK, to_load, "stations:to_key",
             wait=LOADING)
    )  # fmt: skip
    register_kind(
        Kind("differs", "A slot that differs", Verb.SLOT_READ_BACK, differing, "stations:slot")
    )
