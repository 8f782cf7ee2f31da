"""What the bar shows of menus, which it does not know: what it follows, and where it departs."""

from collections.abc import Iterator, Mapping, Sequence

from django.db.models import F
from django.urls import reverse

from recipes.menus.departures import departing_slots
from recipes.menus.models import Following, followed_by
from recipes.planning.plan import PUBLICATION
from recipes.publishing.models import menus_of
from stations.slots.arranged import Arranged
from stations.slots.models import Placement
from web.printing import counted
from web.today import Asked, Need, register_panel


def arranged_at(site_id: int) -> Arranged:
    """What a site follows, and how many of its slots depart: two queries."""
    following = followed_by(site_id)
    url = reverse("recipes:site_menu", args=[site_id])
    if following is None:
        return Arranged("Follows no menu", url, 0)
    departing = departing_slots([site_id]).get(site_id, 0)
    return Arranged(f"Follows {following.menu}", url, departing)


def part_of(placements: Sequence[Placement]) -> Mapping[int, str]:
    """The menu's version by which each of these placements came, where it did: one query."""
    ids = {each.basis_id or 0 for each in placements if each.basis == PUBLICATION.basis}
    menus = menus_of(ids) if ids else {}
    return {
        each.pk: menus[each.basis_id]
        for each in placements
        if each.basis == PUBLICATION.basis and each.basis_id in menus
    }


@register_panel(45)
def departing(asked: Asked) -> Iterator[Need]:
    """Sites whose slots should hold something other than their menu says: two queries."""
    follows = Following.objects.current().filter(site__in=asked.clocks)
    names = dict(follows.values_list("site_id", F("menu__name")))
    if not names:
        return
    for site_id, slots in sorted(departing_slots(names).items()):
        yield Need(
            site_id,
            "departs",
            f"{counted(slots, 'slot')}: menu {names[site_id]}",
            reverse("recipes:site_menu", args=[site_id]),
        )
