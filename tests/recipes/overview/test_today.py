"""Today: what each bar needs, for who works there, in a number of queries that does not grow."""

from datetime import date, time, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.persons.actions import assign_role
from people.persons.models import User
from people.persons.verbs import Role
from recipes.publishing import run
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from stations.equipment.models import Machine, Site, Slot
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from stations.today.day import IN_FULL, Day, SiteDay, day_of
from tests.bar import Bar, station
from tests.cast import SignedIn
from tests.grinders import grinder_of, opened_at
from tests.publishing import Publish, send
from tests.recipes.permits.test_permits import permit

__all__ = ["send"]
# Sites, stations, roles and the panels; session, person and the lists of a lead are on top.
BUDGET = 18
PAGE = 24


def today(user: User) -> Day:
    return day_of(User.objects.get(pk=user.pk))


def told(day: SiteDay) -> list[tuple[str, str]]:
    return [(need.mark, need.words) for need in (*day.at_stations, *day.needs)]


@pytest.fixture
def poured(bar: Bar, send: Publish) -> Bar:
    """Everything is placed; the first slot was read back and is something else."""
    run.run(send().pk)
    placement = Placement.objects.get(slot=bar.slots[0], state="in_force")
    found = {code: given["value"] for code, given in placement.settings.values.items()}
    read_back(
        by=bar.cast.shop_lead, slot=bar.slots[0], seen_placement=placement.pk,
        found=found | {"brew_temperature": "90.0"},
    )  # fmt: skip
    return bar


def test_each_station_says_what_it_needs(poured: Bar) -> None:
    day = today(poured.cast.barista)
    [harbour] = day.sites
    assert harbour.site == poured.cast.site
    assert [one.station.machine.name for one in harbour.stations] == ["Back", "Front", "Front"]
    first = harbour.stations[1]
    assert [need.words for need in first.needs] == ["Slot 1 differs", "Slot 2 to load"]
    assert all(need.url.startswith(f"/at/{first.station.code}/#slot-") for need in first.needs)


def test_who_may_read_back_is_led_to_the_round(poured: Bar) -> None:
    [harbour] = today(poured.cast.shop_lead).sites
    urls = {need.url for need in harbour.at_stations if need.mark == "to_load"}
    assert urls == {f"/sites/{harbour.site.pk}/to-key/"}


def test_calibrations_are_for_who_measures_or_answers_for_the_bar(bar: Bar) -> None:
    def never(user: User) -> list[str]:
        return [words for one in today(user).sites for mark, words in told(one)]

    assert never(bar.cast.shop_lead) == ["Never calibrated"] * 3
    assert len(never(bar.cast.technician)) == 4
    assert never(bar.cast.barista) == []


def test_what_comes_next_by_the_site_s_clock(bar: Bar, send: Publish) -> None:
    tomorrow = date.today() + timedelta(days=1)  # noqa: DTZ011 - a day of each site's own
    scope = Scope(Where.SITES, (bar.cast.site.pk,), slot_numbers=(1,))
    made = send(scope=scope, when=When(tomorrow, time(6)))
    [harbour] = today(bar.cast.barista).sites
    [need] = harbour.needs
    assert need.words == f"{bar.version} in 3 slots"
    assert need.when is not None
    assert harbour.site.local(need.when).time() == time(6)
    assert (need.mark, need.url) == ("scheduled", made.get_absolute_url())
    assert [one.needs for one in today(bar.cast.other_lead).sites] == [[]]


def test_permits_that_end_and_lots_that_are_past(poured: Bar) -> None:
    permit(poured.slots[:2], poured.cast.head_roaster)
    permit([poured.slots[2]], poured.cast.head_roaster, days=30)
    grinder = grinder_of(poured.stations[0], poured.cast.head_roaster)
    opened_at(grinder, poured.version.recipe.coffee, poured.cast.head_roaster, age=40)
    [harbour] = today(poured.cast.barista).sites
    assert [(need.mark, need.words.partition(":")[0]) for need in harbour.needs] == [
        ("on_permit", "Ends"),
        ("past", f"Morning blend R{grinder.pk}-40 at Harbour grinder"),
    ]
    assert "2 slots, Gasket worn" in harbour.needs[0].words


def test_it_is_for_who_works_at_the_bar(poured: Bar) -> None:
    cast = poured.cast
    assert today(cast.head_roaster).sites == today(cast.owner).sites == []
    assert [one.site for one in today(cast.other_lead).sites] == [cast.other_site]
    assert len(today(cast.technician).sites) == 2


def test_the_page(poured: Bar, signed_in: SignedIn) -> None:
    browser = signed_in(poured.cast.shop_lead)
    page = browser.get("/").content.decode()
    assert "<h1>Today</h1>" in page
    assert "Slot 1 differs" in page
    assert "To key in" not in page  # told once
    one = browser.get(f"/sites/{poured.cast.site.pk}/today/").content.decode()
    assert "Slot 1 differs" in one
    assert "<h1>Today</h1>" not in signed_in(poured.cast.owner).get("/").content.decode()


def test_it_asks_no_more_with_more_sites_and_slots(poured: Bar, signed_in: SignedIn) -> None:
    cast = poured.cast
    assign_role(by=cast.owner, person=cast.shop_lead, role=Role.SHOP_LEAD, site_id=None)
    permit([poured.slots[2]], cast.head_roaster)
    browser = signed_in(User.objects.get(pk=cast.shop_lead.pk))

    def asked() -> tuple[int, int]:
        user = User.objects.get(pk=cast.shop_lead.pk)
        with CaptureQueriesContext(connection) as queries:
            day_of(user)
        with CaptureQueriesContext(connection) as whole:
            assert browser.get("/").status_code == 200
        return len(queries), len(whole)

    asked()
    few = asked()
    _grow(poured)
    many = asked()
    assert many == few
    assert many[0] <= BUDGET
    assert many[1] <= PAGE
    day = today(cast.shop_lead)
    assert len(day.sites) == IN_FULL
    assert len(day.others) == 22 - IN_FULL


def _grow(bar: Bar) -> None:
    """Twenty sites more, and a full machine at the harbour with something to load in each slot."""
    for number in range(20):
        site = Site.objects.create(
            code=f"s-{number}", name=f"S {number}", time_zone="Europe/Lisbon", altitude=number
        )
        made = Machine.objects.create(site=site, name="One", machine_type=bar.full)
        station(made, 1, "4.00")
    front = Machine.objects.get(pk=bar.stations[0].machine_id)
    for number in range(3, 9):
        station(front, number, "4.00", slots=4)
    assert Slot.objects.count() > 60
