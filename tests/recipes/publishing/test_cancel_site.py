"""One site can be cancelled: what waits there is given up, and the others go on."""

import re
from typing import Any

import pytest
from django.db import Error, connection, transaction

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.publishing import run
from recipes.publishing.actions import cancel_site, stop
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Site
from stations.slots.models import Placement
from tests.bar import Bar
from tests.calling import act
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, plan_of, send
from tests.recipes.publishing.hands import check_counts, next_week

__all__ = ["send"]


def body(response: Any) -> str:  # noqa: ANN401
    """The page as text."""
    return str(response.content, "utf-8")


def part_of(publication: Publication, bar: Bar, *, other: bool = False) -> PublicationSite:
    site = bar.cast.other_site if other else bar.cast.site
    parts = PublicationSite.objects.select_related("publication")
    part: PublicationSite = parts.get(publication=publication, site=site)
    return part


def test_the_others_go_on(bar: Bar, send: Publish) -> None:
    made = send()
    part = part_of(made, bar)
    freed = cancel_site(
        by=bar.cast.head_roaster, part=part, revision=made.revision, reason="The grinder broke"
    )
    assert freed == 6
    assert run.run(made.pk) == 2
    made.refresh_from_db()
    assert made.state == "complete"
    check_counts(made)
    there = Placement.objects.filter(basis_id=made.pk, site=bar.cast.site)
    assert set(there.values_list("state", flat=True)) == {"cancelled"}
    entry = Entry.objects.filter(
        action="publication.site_cancelled", table_name="recipes_publicationsite"
    ).get()
    assert (entry.reason, entry.site_id) == ("The grinder broke", bar.cast.site.pk)
    assert entry.changes == {"cancelled": ["0", "6"]} or entry.changes == {"cancelled": [0, 6]}


def test_its_slots_are_free_again(bar: Bar, send: Publish) -> None:
    made = send(when=next_week())
    head, here = bar.cast.head_roaster, Scope(Where.SITES, (bar.cast.site.pk,))
    assert not plan_of(bar.version, head, here).to_place
    cancel_site(by=head, part=part_of(made, bar), revision=made.revision, reason="Not here")
    assert len(plan_of(bar.version, head, here).to_place) == 6


def test_what_is_placed_stays(bar: Bar, send: Publish) -> None:
    made = send()
    run.place_batch(made.pk, at_most=4)
    part = part_of(made, bar)
    cancel_site(by=bar.cast.head_roaster, part=part, revision=made.revision, reason="Enough")
    assert Placement.objects.in_force().filter(basis_id=made.pk).count() == 4
    run.run(made.pk)
    check_counts(made)


def test_nothing_is_cancelled_twice(bar: Bar, send: Publish) -> None:
    made, head = send(when=next_week()), bar.cast.head_roaster
    part = part_of(made, bar)
    cancel_site(by=head, part=part, revision=made.revision, reason="Not here")
    made.refresh_from_db()
    with pytest.raises(Refused, match="Nothing is left"):
        cancel_site(by=head, part=part_of(made, bar), revision=made.revision, reason="Twice")


def test_a_stopped_one_stays_stopped(bar: Bar, send: Publish) -> None:
    made, head = send(), bar.cast.head_roaster
    stop(by=head, publication=made, revision=made.revision, reason="Wait")
    cancel_site(by=head, part=part_of(made, bar), revision=made.revision, reason="Not here")
    made.refresh_from_db()
    assert (made.state, run.run(made.pk)) == ("stopped", 0)


def test_what_refuses_it(bar: Bar, send: Publish) -> None:
    head, made = bar.cast.head_roaster, send(when=next_week())
    part = part_of(made, bar)
    with pytest.raises(NotPermitted):
        cancel_site(by=bar.cast.shop_lead, part=part, revision=made.revision, reason="Mine")
    with pytest.raises(Invalid):
        cancel_site(by=head, part=part, revision=made.revision, reason=" ")
    with pytest.raises(Stale):
        cancel_site(by=head, part=part, revision=made.revision + 5, reason="Late")
    cancel_site(by=head, part=part, revision=made.revision, reason="Not here")
    made.refresh_from_db()
    last = part_of(made, bar, other=True)
    with pytest.raises(Refused, match="only site it still goes to"):
        cancel_site(by=head, part=last, revision=made.revision, reason="Nor here")
    run_out = send(scope=Scope(Where.SITES, (bar.cast.site.pk,)))
    run.run(run_out.pk)
    run_out.refresh_from_db()
    with pytest.raises(Refused, match="This publication is complete"):
        cancel_site(
            by=head, part=part_of(run_out, bar), revision=run_out.revision, reason="Too late"
        )


# Pages and endpoint.


def test_by_page(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made, browser = send(when=next_week()), signed_in(bar.cast.head_roaster)
    part = part_of(made, bar)
    url = f"/publications/at/{part.pk}/cancel/"
    assert url in body(browser.get(made.get_absolute_url()))
    page = browser.get(url)
    assert "Harbour" in body(page)
    seen = {"revision": page.context["form"]["revision"].value()}
    assert browser.post(url, {**seen, "reason": ""}).status_code == 400
    answer = browser.post(url, {**seen, "reason": "The grinder broke"}, follow=True)
    assert "is cancelled at Harbour" in body(answer)
    assert re.search(r"Cancelled\s+at Harbour", body(answer))
    assert "The grinder broke" in body(answer)
    assert url not in body(answer)
    assert signed_in(bar.cast.shop_lead).get(url).status_code == 403


def test_the_page_says_how_many_it_gave_up(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made = send()
    cancel_site(
        by=bar.cast.head_roaster, part=part_of(made, bar), revision=made.revision, reason="Broke"
    )
    run.run(made.pk)
    page = body(signed_in(bar.cast.head_roaster).get(made.get_absolute_url()))
    assert "2 of 8 slots placed, 6 cancelled, 0 of 2 loaded" in page
    assert '<progress max="2" value="2" aria-label="Slots placed">' in page, "and it is full"


def test_a_site_may_be_named_with_braces(bar: Bar, send: Publish, signed_in: SignedIn) -> None:
    made, browser = send(when=next_week()), signed_in(bar.cast.head_roaster)
    Site.objects.filter(pk=bar.cast.site.pk).update(name="Harbour {north}")
    url = f"/publications/at/{part_of(made, bar).pk}/cancel/"
    sent = {"revision": made.revision, "reason": "The grinder broke"}
    answer = browser.post(url, sent, follow=True)
    assert "is cancelled at Harbour {north}; what is placed there stays." in body(answer)


def test_by_api(bar: Bar, send: Publish, api_as: ApiAs) -> None:
    made, client = send(when=next_week()), api_as(bar.cast.head_roaster)
    told = client.get(f"/api/v1/publications/{made.pk}/")
    [here] = [row for row in told.json()["sites"] if row["site"] == bar.cast.site.pk]
    url, sent = f"publications/at/{here['id']}/cancel/", {"reason": "The grinder broke"}
    assert act(client, url, sent).status_code == 428
    seen = client.get(f"/api/v1/publications/at/{here['id']}/")
    assert (seen.status_code, seen.json()["slots"]) == (200, 6)
    answer = act(client, url, sent, if_match=seen["ETag"])
    assert answer.status_code == 200
    [here] = [row for row in answer.json()["sites"] if row["site"] == bar.cast.site.pk]
    assert here["cancelled"] == 6
    [decided] = answer.json()["decisions"]
    assert (decided["what"], decided["site"]) == ("Cancelled", "Harbour")
    assert decided["reason"] == "The grinder broke"


def test_what_was_decided_about_another_site_is_not_told(
    bar: Bar, send: Publish, api_as: ApiAs
) -> None:
    made = send(when=next_week())
    part = part_of(made, bar, other=True)
    cancel_site(
        by=bar.cast.head_roaster, part=part, revision=made.revision, reason="The grinder broke"
    )
    told = api_as(bar.cast.shop_lead).get(f"/api/v1/publications/{made.pk}/").json()
    assert [row["site"] for row in told["sites"]] == [bar.cast.site.pk]
    assert told["decisions"] == []


# The same rule in the database.


def test_sql_counts_nothing_as_cancelled_that_still_waits(bar: Bar, send: Publish) -> None:
    made = send(when=next_week())
    for statement in (
        "UPDATE recipes_publicationsite SET cancelled = slots WHERE publication_id = %s",
        "UPDATE recipes_publicationsite SET cancelled = 1 WHERE publication_id = %s",
    ):
        with (
            pytest.raises(Error, match="only once they wait no more"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement, [made.pk])
    with pytest.raises(Error, match="only once they wait no more"), transaction.atomic():
        PublicationSite.objects.filter(publication=made).update(cancelled=2)
    part = part_of(made, bar)
    part.cancelled = 6
    with pytest.raises(Error, match="only once they wait no more"), transaction.atomic():
        part.save()
    assert not PublicationSite.objects.filter(publication=made, cancelled__gt=0).exists()
