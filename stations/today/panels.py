"""What stations know of today: slots to load or differing, cups that drift, calibrations, lots."""

from collections.abc import Iterable, Iterator, Sequence

from django.contrib.postgres.aggregates import ArrayAgg
from django.db.models import F, Q
from django.urls import reverse
from django.utils.text import capfirst

from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.calibrations.matters import AHEAD
from stations.calibrations.models import Calibration
from stations.charts.models import Drift
from stations.equipment.models import Station
from stations.lots.models import LotOpening
from stations.lots.shelf import READY
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from web.printing import day, numbered
from web.today import Asked, Need, register_panel


@register_panel(10)
def slots(asked: Asked) -> Iterator[Need]:
    """Slots found to differ, and those not read back since something came into force."""
    rows = Placement.objects.in_force().filter(site__in=asked.clocks)
    rows = rows.filter(Q(verdict="differs") | Q(verdict="unread") & ~Q(manner="by_hand"))
    found = (
        rows.order_by("verdict")
        .values("site", "verdict", station=F("slot__station"), code=F("slot__station__code"))
        .annotate(numbers=ArrayAgg("slot__number", order_by="slot__number"))
    )
    for row in found:
        where = capfirst(numbered("slot", row["numbers"]))
        differs, site = row["verdict"] == "differs", row["site"]
        verb = "differs" if len(row["numbers"]) == 1 else "differ"
        to_key = not differs and may(asked.user, Verb.SLOT_READ_BACK, site)
        place = f"{reverse('stations:at', args=[row['code']])}#slot-{row['numbers'][0]}"
        yield Need(
            site,
            "differs" if differs else "to_load",
            f"{where} {verb}" if differs else f"{where} to load",
            reverse("stations:to_key", args=[site]) if to_key else place,
            row["station"],
        )


@register_panel(15)
def outside(asked: Asked) -> Iterator[Need]:
    """Stations whose last shot of a slot was out of tolerance."""
    rows = CheckShot.objects.filter(site__in=asked.clocks).outside_now()
    found: dict[tuple[int, int], list[int]] = {}
    columns = rows.order_by("slot__number").values_list("site", "slot__station", "slot__number")
    for site, station, number in columns:
        found.setdefault((site, station), []).append(number)
    for (site, station), numbers in found.items():
        words = f"{capfirst(numbered('slot', numbers))}: last shot out of tolerance"
        yield Need(site, "outside", words, reverse("stations:station", args=[station]), station)


@register_panel(30)
def drifting(asked: Asked) -> Iterator[Need]:
    """Cups that drift although the slot holds what it should: for who may ask for a change."""
    sites = _where(asked, Verb.REQUEST_MAKE)
    seen = set[int]()
    for drift in Drift.objects.filter(site__in=sites).current().order_by("-pk") if sites else ():
        if drift.station_id not in seen:
            seen.add(drift.station_id)
            url = drift.get_absolute_url()
            yield Need(drift.site_id, "drifts", "Cups drift", url, drift.station_id)


@register_panel(40)
def calibrations(asked: Asked) -> Iterator[Need]:
    """Overdue, due within a fortnight or never made: for who measures or answers for the bar."""
    sites = _where(asked, Verb.CALIBRATION_RECORD, Verb.SLOT_READ_BACK)
    if not sites:
        return
    chosen = frozenset(sites)
    due = Calibration.objects.at_sites(chosen).due_by(asked.now.date() + AHEAD)
    for row in due.order_by("due_on", "pk").select_related("station__machine"):
        site = row.station.machine.site_id
        today = asked.now.astimezone(asked.clocks[site]).date()
        mark = "overdue" if row.due_on < today else "due"
        words = capfirst(f"{row.get_kind_display()} due {day(row.due_on)}")
        yield _calibration(site, row.station_id, mark, words)
    anew = Station.objects.at_sites(chosen).to_calibrate_anew().order_by("pk")
    for site, station in anew.values_list("machine__site", "pk"):
        yield _calibration(site, station, "missing", "No valid calibration: a part was replaced")
    never = Station.objects.at_sites(chosen).never_calibrated().order_by("pk")
    for site, station in never.exclude(pk__in=anew.values("pk")).values_list("machine__site", "pk"):
        yield _calibration(site, station, "missing", "Never calibrated")


def _calibration(site: int, station: int, mark: str, words: str) -> Need:
    url = f"{reverse('stations:station', args=[station])}#calibrations"
    return Need(site, mark, words, url, station)


@register_panel(50)
def lots(asked: Asked) -> Iterator[Need]:
    """Open lots that still rest or are past their window today, by each site's calendar."""
    rows = LotOpening.objects.open().filter(site__in=asked.clocks).with_place()
    for opening in rows.order_by("pk"):
        aged = opening.aged(asked.now)
        if aged.state != READY:
            words = f"{opening} at {opening.where}: {aged.words}"
            yield Need(opening.site_id, aged.state, words, opening.get_absolute_url())


def _where(asked: Asked, *verbs: Verb) -> Sequence[int]:
    """The sites asked about where this person may do one of these."""
    return [pk for pk in asked.clocks if _any(asked, verbs, pk)]


def _any(asked: Asked, verbs: Iterable[Verb], site: int) -> bool:
    return any(may(asked.user, verb, site) for verb in verbs)
