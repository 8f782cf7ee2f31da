"""A publication stays open until the bars hold it: derived from what was read back."""

from datetime import UTC, datetime, time, timedelta
from typing import Any

from django.db import connection
from django.test.utils import CaptureQueriesContext

from recipes.permits.actions import end
from recipes.permits.models import Permit
from recipes.publishing import run
from recipes.publishing.actions import resume, stop
from recipes.publishing.loading import tell
from recipes.publishing.matters import unloaded
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from stations.equipment.models import Machine
from tests.audit.sealed import unguarded
from tests.bar import Bar, station
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.publishing.hands import at_slot, load, other_version
from tests.recipes.publishing.test_plan_summary import on_permit

__all__ = ["send"]


def body(response: Any) -> str:  # noqa: ANN401
    """The page as text."""
    return str(response.content, "utf-8")


def shown(publication: Publication, bar: Bar) -> str:
    [one] = Publication.objects.with_progress_for(bar.cast.head_roaster).filter(pk=publication.pk)
    tell([one], bar.cast.head_roaster)
    return one.shown_state


def test_it_stays_open_until_every_bar_holds_it(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    made, browser = send(), signed_in(bar.cast.head_roaster)
    assert "0 of 8 loaded" in body(browser.get(made.get_absolute_url()))
    run.run(made.pk)
    assert shown(made, bar) == "loading"
    load(bar, made, 5)
    page = body(browser.get(made.get_absolute_url()))
    assert "8 of 8 slots placed, 5 of 8 loaded" in page
    assert "To load at the bars" in page
    assert "hx-trigger" in page
    assert page.count("Head roaster, <time") >= 5
    load(bar, made)
    assert shown(made, bar) == "complete"
    page = body(browser.get(made.get_absolute_url()))
    assert "8 of 8 loaded" in page
    assert "hx-trigger" not in page


def test_a_slot_that_differs_holds_it_open(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made = send()
    run.run(made.pk)
    load(bar, made)
    load(bar, made, 1, water_volume="262")
    assert shown(made, bar) == "loading"
    part = (
        PublicationSite.objects.with_begin()
        .with_loading()
        .get(publication=made, site=bar.cast.site)
    )
    assert (part.loaded, part.differs, part.unloaded, part.due) == (5, 1, 1, 6)


def test_what_was_taken_over_or_is_on_permit_is_not_waited_for(bar: Bar, send: Publish) -> None:
    made = send(scope=Scope(Where.ALL, slot_numbers=(1,)))
    run.run(made.pk)
    load(bar, made)
    permit = on_permit(bar)
    run.run(send(other_version(bar), scope=at_slot(bar.slots[2])).pk)
    [part] = (
        PublicationSite.objects.with_begin()
        .with_loading()
        .filter(publication=made, site=bar.cast.site)
    )
    assert (part.loaded, part.on_permit, part.taken_over, part.due) == (1, 1, 1, 1)
    assert shown(made, bar) == "complete"
    granted = Permit.objects.get(pk=permit)
    end(by=bar.cast.head_roaster, permit=granted, revision=granted.revision, reason="Mended")
    assert shown(made, bar) == "loading", "what it falls back to was not read back since"


def test_open_ones_come_first(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    first = send(scope=Scope(Where.ALL, slot_numbers=(1,)))
    second = send(scope=Scope(Where.ALL, slot_numbers=(2,)))
    run.run(first.pk)
    load(bar, first)
    browser = signed_in(bar.cast.head_roaster)

    def listed(query: str = "") -> tuple[list[Publication], list[Publication]]:
        page = browser.get(f"/publications/{query}").context
        return page["open"], list(page["page"].rows)

    assert listed() == ([second], [first])
    run.run(second.pk)
    assert listed() == ([second], [first])
    assert listed("?state=loading") == ([second], [])
    assert listed("?state=complete") == ([], [first])
    assert listed("?state=stopped") == ([], [])
    assert listed(f"?recipe={bar.version.recipe_id}&site={bar.cast.site.pk}&state=open") == (
        [second], [],
    )  # fmt: skip
    assert "4 of 4" in body(browser.get("/publications/"))
    other = other_version(bar).recipe_id
    assert listed(f"?recipe={other}") == ([], [])
    assert browser.get("/publications/?state=nothing").status_code == 400


def test_whoever_signed_hears_of_what_is_not_loaded_after_a_day(bar: Bar, send: Publish) -> None:
    made = send()
    run.run(made.pk)
    load(bar, made, 5)
    assert list(unloaded()) == []
    unguarded("UPDATE stations_placement SET started_at = now() - interval '2 days'")
    [found] = unloaded()
    assert found.words == "3 slots at 2 sites do not hold it yet."
    assert set(found.sites or ()) == {bar.cast.site.pk, bar.cast.other_site.pk}


def test_the_page_asks_no_more_with_more_slots(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    browser = signed_in(bar.cast.head_roaster)

    def asked(publication: Publication) -> int:
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(publication.get_absolute_url()).status_code == 200
        return len(queries)

    few = send()
    run.run(few.pk)
    load(bar, few, 3)
    front = Machine.objects.get(pk=bar.stations[0].machine_id)
    more = tuple(station(front, number, "4.00", slots=4).pk for number in range(3, 12))
    many = send(other_version(bar), scope=Scope(Where.STATIONS, more))
    run.run(many.pk)
    load(bar, many, 30)
    asked(few)  # the first page of a session asks more
    assert asked(many) <= asked(few)


def test_the_api_says_how_far_the_bars_are(bar: Bar, send: Publish, api_as: ApiAs) -> None:
    made = send()
    run.run(made.pk)
    load(bar, made, 5)
    told = api_as(bar.cast.head_roaster).get(f"/api/v1/publications/{made.pk}/").json()
    assert sum(site["loaded"] for site in told["sites"]) == 5
    assert sum(site["to_load"] for site in told["sites"]) == 3
    assert all(site["went_out"] for site in told["sites"])


# What was decided, and when it really went out.


def test_reasons_given_are_shown(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made, head = send(), bar.cast.head_roaster
    stop(by=head, publication=made, revision=made.revision, reason="Grinder broke")
    resume(by=head, publication=made, revision=made.revision, reason="It is mended")
    page = body(signed_in(bar.cast.shop_lead).get(made.get_absolute_url()))
    assert "Grinder broke" in page
    assert page.index("It is mended") < page.index("Grinder broke"), "the newest first"


def test_what_was_meant_for_a_past_moment_says_when_it_went_out(
    bar: Bar, send: Publish, signed_in: SignedIn
) -> None:
    local = bar.cast.site.local(datetime.now(UTC)) - timedelta(hours=3)
    made = send(when=When(local.date(), time(local.hour, local.minute)))
    run.run(made.pk)
    part = (
        PublicationSite.objects.with_begin()
        .with_loading()
        .get(publication=made, site=bar.cast.site)
    )
    assert part.late
    page = body(signed_in(bar.cast.head_roaster).get(made.get_absolute_url()))
    assert "meant for" in page
    on_time = send(other_version(bar))
    run.run(on_time.pk)
    assert "meant for" not in body(signed_in(bar.cast.head_roaster).get(on_time.get_absolute_url()))


def test_what_was_held_up_says_when_it_went_out(bar: Bar, send: Publish) -> None:
    made = send()
    run.run(made.pk)
    unguarded(
        "UPDATE stations_placement SET started_at = started_at + interval '1 hour'"
        " WHERE basis = 'publication' AND basis_id = %s", made.pk,
    )  # fmt: skip
    part = PublicationSite.objects.with_begin().with_loading().filter(publication=made)[0]
    assert part.late
    assert part.went_out
