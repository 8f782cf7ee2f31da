"""What publishing a menu would do at the sites that follow it, slot by slot, before anybody signs.

One moment for all of it: at once, or one local date and time. Not with a roast lot: a menu holds
drinks of several coffees, and a bag that a bar opens says nothing of the others. What waits for a
lot is published by itself, from the version's page, on the slot numbers that the menu gives it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from audit.errors import Invalid, Refused
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.menus.models import Following, MenuVersion
from recipes.planning.plan import Outcome
from recipes.planning.several import written_down
from recipes.publishing.opening import dues
from recipes.publishing.plan import Going, SitesPlan, SlotAt, lines_for, places_of
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.translation.translating import translate_each
from recipes.versions.models import Version
from stations.equipment.models import Site, Station
from web.printing import counted


@dataclass(frozen=True, kw_only=True)
class MenuPlan(SitesPlan):
    """Which version of a menu goes to which of the sites that follow it, and when."""

    menu_version: MenuVersion
    scope: Scope
    nowhere: tuple[int, ...]  # slot numbers that no station of these sites has
    missing: dict[int, tuple[int, ...]]  # by site, those that none of its stations has

    def hindrance(self) -> Refused | None:
        """An approved menu in use, whose slot numbers exist, and a slot that can hold it."""
        unapproved = unapproved_of(self.menu_version)
        if unapproved:
            return unapproved
        for number, version in self.menu_version.out_of_use:
            return Refused(
                f"Slot {number} names {version}, which is {version.get_state_display()}.",
                how_to_ask="Approve a new version of the menu, with today's approved versions.",
            )
        if self.nowhere:
            return Refused(
                f"No station of these sites has slot {', '.join(map(str, self.nowhere))}.",
                how_to_ask="Take it off the menu, or enter the slot at a station.",
            )
        # One whose sites hold all of it already begins to be what they are held against.
        held = self.to_place or self.of(Outcome.SAME)
        return None if held else Refused("Nothing in this plan can be placed.")

    @property
    def scope_label(self) -> str:
        """The menu's slots and the sites, in words."""
        slots = counted(len(self.menu_version.arrangement), "slot number")
        return f"{slots} · {', '.join(map(str, self.sites.values()))}"

    def content(self) -> dict[str, Any]:
        """The menu's version, the sites, the moment, and which version each slot gets."""
        return {
            "menu": self.menu_version.pk,
            "content": self.menu_version.content_digest,
            "drinks": {
                str(number): version.pk for number, version in self.menu_version.arrangement.items()
            },
            "scope": self.scope.as_json(),
            **self.moment(),
            **written_down(self.lines),
        }


def unapproved_of(menu_version: MenuVersion) -> Refused | None:
    """Why it can't be published as it stands under review, if so."""
    if menu_version.state == MenuVersion.State.APPROVED:
        return None
    state = menu_version.get_state_display()
    return Refused(f"Only an approved menu can be published; this one is {state}.")


def followers(menu_version: MenuVersion, by: User) -> list[Site]:
    """The sites that follow the menu and where this person may publish, in order."""
    mine = Following.objects.current().covered_by(by, Verb.PUBLICATION_SIGN)
    follows = mine.filter(menu=menu_version.menu_id)
    return list(Site.objects.filter(pk__in=follows.values("site")))


def scope_of(menu_version: MenuVersion, sites: Iterable[int], by: User) -> Scope:
    """These sites (ids) with the menu's slot numbers. Raises Invalid for one that doesn't follow.

    A menu says nothing of a site that follows another, or none.
    """
    wanted = tuple(sorted(set(sites)))
    follow = {site.pk for site in followers(menu_version, by)}
    for pk in wanted:
        if pk not in follow:
            raise Invalid("sites", pk, f"sites that follow {menu_version.menu} and that you cover")
    return Scope(Where.SITES, wanted, tuple(menu_version.arrangement))


def make_menu_plan(
    *,
    by: User,
    menu_version: MenuVersion,
    sites: Iterable[int],
    when: When,
    now: datetime,
    learnt_until: datetime | None = None,
) -> MenuPlan:
    """Work it out without writing anything; a fixed number of queries, whatever the slots.

    ``learnt_until`` is as in `recipes.publishing.plan.make_plan`. Raises NotPermitted, Invalid for
    a site that does not follow the menu, or a moment that can't be meant.
    """
    require(by, Verb.PUBLICATION_PLAN)
    if when.lot is not None:
        raise Invalid("lot", when.lot.code, "no lot: a menu holds drinks of several coffees")
    scope = scope_of(menu_version, sites, by)
    slots, arrangement = scope.slots(by), menu_version.arrangement
    places = places_of(slots)
    there = Site.objects.in_bulk(scope.ids)
    versions = {version.pk: version for version in arrangement.values()}
    own_water = any(version.leaves_water for version in versions.values())
    until = (learnt_until or now) if own_water else None
    at = {
        number: {place.site_id for place in places if place.number == number}
        for number in arrangement
    }
    return MenuPlan(
        lines=lines_for(slots, list(_going(places, arrangement, until))),
        menu_version=menu_version,
        scope=scope,
        when=when,
        sites=there,
        due=dues(there, when, now),
        nowhere=tuple(number for number, sites_there in at.items() if not sites_there),
        missing=_missing(scope.ids, at),
        learnt_until=until,
    )


def _going(
    places: Sequence[SlotAt], arrangement: dict[int, Version], until: datetime | None
) -> Iterator[Going]:  # fmt: skip
    """Every slot, with the version that its number has, translated for its station."""
    versions = {version.pk: version for version in arrangement.values()}
    here = Station.objects.filter(pk__in={place.station_id for place in places})
    refuse = Policy.current().refuses_above_boiling
    stations = translate_each(
        versions.values(), here, refuse_above_boiling=refuse, learnt_until=until
    )
    for place in places:
        version = arrangement[place.number]
        yield place, version, stations[version.pk][place.station_id]


def _missing(sites: Iterable[int], at: dict[int, set[int]]) -> dict[int, tuple[int, ...]]:
    lacking = {
        site: tuple(number for number, there in at.items() if there and site not in there)
        for site in sites
    }
    return {site: numbers for site, numbers in lacking.items() if numbers}
