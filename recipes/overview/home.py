"""Home: what waits for this person, over all their roles. A fixed number of queries."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from textwrap import shorten
from typing import Any
from urllib.parse import urlencode

from django.db.models import Count, QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.text import capfirst

from audit.alarms import alarms
from audit.sealing.lateness import waiting_now
from people.persons.models import User
from people.persons.permissions import covered_sites, may, may_everywhere
from people.persons.verbs import Verb
from recipes.menus.models import MenuVersion
from recipes.permits.models import Permit
from recipes.publishing.listing import still_open
from recipes.publishing.loading import tell
from recipes.publishing.models import Publication
from recipes.requests.answered import unseen_answers
from recipes.requests.models import ChangeRequest
from recipes.versions.document import Document
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.charts.models import Drift
from stations.equipment.models import Site, Station
from stations.shots.models import CheckShot
from stations.shots.outside import outside_by_site
from stations.slots.models import Placement
from web.printing import age, counted, day, zone_of

SHOWN = 12  # lines of each list; the rest is behind its link
DUE_SOON = timedelta(days=14)  # a calibration that has to be repeated
SOON = timedelta(days=7)  # a permit that ends within a week


@dataclass(frozen=True)
class Item:
    """One line: one place where something is done."""

    url: str
    text: str
    mark: str = ""
    site: str = ""
    when: datetime | None = None
    zone: str = ""
    age: str = ""


@dataclass(frozen=True)
class WorkList:
    """Lines of one kind; `more_url` leads to all of them."""

    title: str
    items: list[Item] = field(default_factory=list)
    more: bool = False
    more_url: str = ""


def work_lists(user: User, *, told: bool = False) -> list[WorkList]:
    """Every list this person's roles bring, empty ones included.

    Without those of what bars need where Today has ``told`` it.
    """
    wanted: list[tuple[Verb, Callable[[User], Iterable[WorkList]]]] = [
        (Verb.RECIPE_APPROVE, _signatures),
        (Verb.RECIPE_DRAFT, _drafts),
        (Verb.REQUEST_DECIDE, _to_decide),
        (Verb.REQUEST_MAKE, _answered),
        (Verb.REQUEST_MAKE, _own_requests),
        (Verb.SLOT_READ_BACK, _read_backs),
        (Verb.SLOT_READ_BACK, _differing),
        (Verb.SLOT_VIEW, _outside),
        (Verb.REQUEST_MAKE, _drifting),
        (Verb.EQUIPMENT_VIEW, _calibrations),
        (Verb.PUBLICATION_PLAN, _publications),
        (Verb.REQUEST_MAKE, _permits),
        (Verb.HISTORY_VIEW, _history),
    ]
    asked = [(verb, build) for verb, build in wanted if not told or build not in AT_BARS]
    return [work_list for verb, build in asked if may(user, verb) for work_list in build(user)]


def sites_of(user: User) -> list[Site]:
    """The first of the bars this person may look at: the way to the settings."""
    return list(Site.objects.covered_by(user, Verb.SLOT_VIEW)[:SHOWN])


def _signatures(user: User) -> Iterable[WorkList]:
    rows, more = _some(Version.objects.awaiting_signature_of(user).with_recipe())
    items = [_to_sign(each, "recipes:version_approve") for each in rows]
    yield WorkList("To sign", items, more, reverse("recipes:recipes"))
    rows, more = _some(MenuVersion.objects.awaiting_signature_of(user).with_menu())
    items = [_to_sign(each, "recipes:menu_version_approve") for each in rows]
    yield WorkList("Menus to sign", items, more, reverse("recipes:menus"))


def _to_sign(document: Document, address: str) -> Item:
    since = document.submitted_at
    return Item(
        reverse(address, args=[document.pk]),
        f"{document}, by {document.author}",
        "in_review",
        age=age(since) if since else "",
    )


def _drafts(user: User) -> Iterable[WorkList]:
    rows, more = _some(Version.objects.drafts_of(user).with_recipe())
    for title, returned in (("Returned to you", True), ("Your drafts", False)):
        items = [
            Item(
                reverse("recipes:version_edit", args=[v.pk]),
                str(v),
                "returned" if returned else "draft",
                age=age(v.submitted_at or v.created_at),
            )
            for v in rows
            if v.is_returned is returned
        ]
        yield WorkList(title, items, more, reverse("recipes:recipes"))


def _to_decide(user: User) -> Iterable[WorkList]:
    rows, more = _some(
        ChangeRequest.objects.covered_by(user, Verb.REQUEST_DECIDE).waiting().with_base()
    )
    items = [_request_line(r, f"{r.base.recipe}, asked by {r.author}") for r in rows]
    yield WorkList("Requests to decide", items, more, reverse("recipes:requests"))


def _own_requests(user: User) -> Iterable[WorkList]:
    rows, more = _some(ChangeRequest.objects.filter(author=user).unsettled().with_base())
    items = [_request_line(r, str(r.base.recipe)) for r in rows]
    yield WorkList("Your requests", items, more, reverse("recipes:requests"))


def _answered(user: User) -> Iterable[WorkList]:
    """Until they say that they have seen it; a question to them stands with their requests."""
    rows, more = _some(unseen_answers(user).exclude(state="asked_back"))
    items = [_request_line(r, f"{r.base.recipe}, by {r.decided_by}") for r in rows]
    yield WorkList("Your requests answered", items, more, reverse("recipes:requests"))


def _request_line(request: ChangeRequest, text: str) -> Item:
    url, waited = request.get_absolute_url(), age(request.made_at)
    text = f"permit, {text}" if request.asks_for_permit else text
    return Item(url, text, request.state, site=str(request.site), age=waited)


def _read_backs(user: User) -> Iterable[WorkList]:
    """By bar: somebody keys in a whole bar at a time."""
    waiting = Placement.objects.to_load().covered_by(user, Verb.SLOT_READ_BACK)
    rows, more = _some(
        waiting.values("site", "site__name").annotate(slots=Count("pk")).order_by("site__name")
    )
    items = [
        Item(
            reverse("stations:to_key", args=[row["site"]]),
            f"{counted(row['slots'], 'slot')} to key in and read back",
            "to_load",
            site=row["site__name"],
        )
        for row in rows
    ]
    yield WorkList("To key in", items, more, reverse("stations:board"))


def _differing(user: User) -> Iterable[WorkList]:
    rows, more = _some(Placement.objects.differing().covered_by(user).with_place())
    items = [
        Item(
            reverse("stations:slot", args=[p.slot_id]),
            f"{p.slot}: {p.settings}",
            "differs",
            site=str(p.site),
        )
        for p in rows
    ]
    yield WorkList("Slots that differ", items, more, reverse("stations:board"))


def _outside(user: User) -> Iterable[WorkList]:
    """By bar: shots out of tolerance, until one that is within."""
    found = outside_by_site(CheckShot.objects.covered_by(user))
    url = reverse("recipes:tolerance")
    items = [
        Item(f"{url}?{urlencode({'q': at.site})}", at.words, "outside", site=at.site)
        for at in found[:SHOWN]
    ]
    yield WorkList("Out of tolerance", items, len(found) > SHOWN, url)


def _drifting(user: User) -> Iterable[WorkList]:
    """Cups that drift although the slot holds what it should."""
    rows, more = _some(Drift.objects.covered_by(user).current().with_place())
    items = [
        Item(d.get_absolute_url(), d.words, "drifts", site=str(d.station.machine.site))
        for d in rows
    ]
    yield WorkList("Cups that drift", items, more, reverse("stations:board") + "?show=drifts")


def _calibrations(user: User) -> Iterable[WorkList]:
    """For whoever measures there, and for whoever answers for the bar: overdue ones first."""
    sides = [covered_sites(user, verb) for verb in (Verb.CALIBRATION_RECORD, Verb.SLOT_READ_BACK)]
    sites = None if None in sides else frozenset[int]().union(*filter(None, sides))
    if sites is not None and not sites:
        return
    due = Calibration.objects.at_sites(sites).due_by(timezone.now().date() + DUE_SOON)
    rows, more = _some(due.with_place().order_by("due_on", "pk"))
    never, others = _some(Station.objects.at_sites(sites).never_calibrated().with_equipment())
    lines = [_due_line(each) for each in rows]
    anew, rest = _some(Station.objects.at_sites(sites).to_calibrate_anew().with_equipment())
    lines += [
        _calibration_line(station, "no valid calibration since a part was replaced", "missing")
        for station in anew
    ]
    lines += [
        _calibration_line(station, "never calibrated", "missing")
        for station in never
        if station not in anew
    ]
    more = more or others or rest or len(lines) > SHOWN
    yield WorkList("Calibrations due", lines[:SHOWN], more, reverse("stations:calibrations"))


def _due_line(due: Calibration) -> Item:
    today = timezone.localdate(timezone=zone_of(due.station.machine.site.time_zone))
    words = f"{due.get_kind_display()} due {day(due.due_on)}"
    return _calibration_line(due.station, words, "overdue" if due.due_on < today else "due")


def _calibration_line(station: Station, words: str, mark: str) -> Item:
    url, site = f"{station.get_absolute_url()}#calibrations", str(station.machine.site)
    return Item(url, f"{station.machine}, station {station.number}: {words}", mark, site=site)


def _publications(user: User) -> Iterable[WorkList]:
    """Until the bars hold them."""
    still = Publication.objects.filter(still_open(user)).covered_by(user).with_version()
    rows, more = _some(still.with_progress_for(user).order_by("-id"))
    tell(rows, user)
    items = [
        Item(
            reverse("recipes:publication", args=[p.pk]),
            f"{capfirst(str(p.document))}: {_how_far(p)}",
            p.shown_state,
            when=None if p.lot or p.shown_state == "loading" else p.last_due,
        )
        for p in rows
    ]
    yield WorkList("Publications on their way", items, more, reverse("recipes:publications"))


def _how_far(publication: Any) -> str:  # noqa: ANN401 - annotated
    """In how many slots it is placed; once in all, in how many it is loaded."""
    if publication.shown_state == "loading":
        due = publication.loaded + publication.unloaded
        return f"{publication.loaded} of {due} slots loaded"
    lot = publication.lot
    rest = f", the rest waits for lot {lot} since {day(publication.first_due)}" if lot else ""
    return f"{publication.placed} of {publication.slots} slots placed{rest}"


def _permits(user: User) -> Iterable[WorkList]:
    ending = Permit.objects.in_force().filter(ends_at__lt=timezone.now() + SOON)
    rows, more = _some(ending.covered_by(user).with_zone())
    items = [
        Item(
            reverse("recipes:permit", args=[p.pk]),
            shorten(p.reason, 90, placeholder="…"),
            "on_permit",
            when=p.ends_at,
            zone=p.zone or "",
            age=f"ends {age(p.ends_at)}",
        )
        for p in rows
    ]
    yield WorkList("Permits ending soon", items, more, reverse("recipes:permits"))


# What recipes.overview.today and stations.today tell of bars.
AT_BARS = (_answered, _read_backs, _differing, _outside, _drifting, _calibrations, _permits)


def _history(user: User) -> Iterable[WorkList]:
    """What makes the history doubtful: sealing that is late, a check that found something."""
    items, lag = list[Item](), waiting_now()
    if lag.stopped:
        words = f"Sealing has stopped: {lag.stopped}"
        items.append(Item(reverse("audit:ledger"), words, "differs"))
    elif lag.alarm:
        words = (
            f"Entries that wait to be sealed: {lag.counted}. Until then, no change of them is found"
        )
        waited = age(lag.oldest) if lag.oldest else ""
        items.append(Item(reverse("audit:ledger"), words, "overdue", age=waited))
    if may_everywhere(user, Verb.HISTORY_VIEW):
        items += [Item(a.url, a.words, a.mark, when=a.since) for a in alarms()]
    yield WorkList("Seal of the history", items)


def _some(rows: QuerySet[Any, Any]) -> tuple[list[Any], bool]:
    """The first lines, and whether there are more: one query."""
    lines = list(rows[: SHOWN + 1])
    return lines[:SHOWN], len(lines) > SHOWN
