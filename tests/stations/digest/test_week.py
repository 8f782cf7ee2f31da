"""A site's week: what changed by its own clock, on a page, by API, in one mail."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from audit.errors import Invalid
from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from stations.digest.changes import digest_of
from stations.digest.matters import last_week, words_of
from stations.digest.weeks import Week
from stations.slots.models import Placement
from tests.cast import ApiAs, Cast, SignedIn
from tests.findings import finding_at
from tests.stations.conftest import Bar, place

pytestmark = pytest.mark.django_db


def test_a_week_is_of_the_site_s_calendar() -> None:
    # Clocks went forward in Berlin on 29 March 2026: that week has an hour less.
    week = Week.read("2026-W13", "Europe/Berlin")
    assert (week.monday, week.sunday) == (date(2026, 3, 23), date(2026, 3, 29))
    assert week.begin == datetime(2026, 3, 22, 23, tzinfo=UTC)
    assert week.end == datetime(2026, 3, 29, 22, tzinfo=UTC)
    assert str(week.beside(1)) == "2026-W14"
    late = datetime(2026, 3, 29, 23, tzinfo=UTC)
    assert str(Week.at(late, "Europe/Berlin")) == "2026-W14"
    assert str(Week.at(late, "America/New_York")) == "2026-W13"
    # The last days of 2026 lie in its week 53 (ISO 8601; the standard library's own calendar).
    assert str(Week.at(datetime(2027, 1, 2, tzinfo=UTC), "UTC")) == "2026-W53"


@pytest.mark.parametrize("text", ["", "2026-48", "2026-W54", "2026-W00", "1999-W01", "٢026-W01"])
def test_what_is_no_week_is_named(text: str) -> None:
    with pytest.raises(Invalid, match="2026-W48"):
        Week.read(text, "UTC")


def test_what_changed_is_in_its_week_alone(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    finding_at(bar.first, cast.head_roaster)
    site = cast.site
    week = Week.at(timezone.now(), site.time_zone)
    found = {section.code: section.lines for section in digest_of(site, week).sections}
    assert [line.words for line in found["placed"]] == [
        "House espresso, version 3 into 1 slot (publication)"
    ]
    assert found["causes"][0].words.startswith("Found: Left machine, station 1: The meter counts")
    assert digest_of(site, week.beside(-1)).empty
    assert digest_of(cast.other_site, week).empty


def test_it_costs_the_same_however_much_there_was(bar: Bar, cast: Cast) -> None:
    week = Week.at(timezone.now(), cast.site.time_zone)
    with CaptureQueriesContext(connection) as asked:
        digest_of(cast.site, week)
    for slot in (bar.slot, bar.second.slots.get(number=1)):
        place(slot, cast.head_roaster)
    for cause in ("meter", "probe", "grind"):
        finding_at(bar.first, cast.head_roaster, cause)
    with CaptureQueriesContext(connection) as again:
        digest_of(cast.site, week)
    assert len(again) == len(asked) <= 14


def test_the_week_that_is_over_is_told_once_to_who_looks_after_the_site(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    placed = place(bar.slot, cast.head_roaster)
    assert list(last_week()) == []
    ago = timezone.now() - timedelta(days=7)
    Placement.objects.filter(pk=placed.pk).update(started_at=ago)
    (told,) = last_week()
    assert told.words == "1 slot placed anew."
    assert told.url.endswith(f"?week={Week.at(ago, cast.site.time_zone)}")
    find_matters()
    heard = {
        name
        for name, person in cast.everyone().items()
        if any(matter.kind == "week" for matter in matters_of(person, 100))
    }
    assert heard == {"head_roaster", "second_roaster", "shop_lead", "technician"}
    assert signed_in(cast.shop_lead).get(told.url).status_code == 200


def test_counts_in_words() -> None:
    assert words_of([2, 1, 0, 0, 1]) == (
        "2 slots placed anew, 1 slot found to differ, 1 calibration accepted"
    )


def test_page_and_endpoint_say_the_same(
    bar: Bar, cast: Cast, signed_in: SignedIn, api_as: ApiAs
) -> None:
    place(bar.slot, cast.head_roaster)
    page = signed_in(cast.barista).get(reverse("stations:week", args=[cast.site.pk]))
    told = api_as(cast.barista).get(f"/api/v1/sites/{cast.site.code}/week/").json()
    words = [line["words"] for section in told["sections"] for line in section["lines"]]
    assert words
    assert all(each in page.content.decode() for each in words)
    before = signed_in(cast.barista).get(
        reverse("stations:week", args=[cast.site.pk]), {"week": "2026-W02"}
    )
    assert "Nothing else changed" in before.content.decode()
