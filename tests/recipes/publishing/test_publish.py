"""Signing a plan and running it."""

from decimal import Decimal

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from people.persons.actions import assign_role, create_person
from people.persons.verbs import Role
from recipes.publishing import run
from recipes.publishing.actions import cancel, publish, stop
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.review import withdraw
from stations.equipment.actions import change_site
from stations.slots.models import Placement
from tests.bar import Bar, approved, draft
from tests.cast import credentials
from tests.publishing import EVERYWHERE, Publish, ordered, plan_of
from tests.recipes.calibrating import accept, typed_in
from tests.recipes.publishing.hands import next_week


def test_each_slot_gets_what_its_own_station_must_be_set_to(bar: Bar, send: Publish) -> None:
    publication = send()
    run.run(publication.pk)
    held = {
        placement.slot_id: placement.settings.values["water_volume"]
        for placement in Placement.objects.in_force().select_related("settings")
    }
    first, second, third, fourth = (station.slots.order_by("number")[0] for station in bar.stations)
    # 70 mL through 4.00, 4.10, 3.95 and 4.05 pulses per mL, half-up: 276.5 is 277, 283.5 is 284.
    assert [held[slot.pk]["value"] for slot in (first, second, third, fourth)] == [
        "280", "287", "277", "284",
    ]  # fmt: skip
    assert {value["unit"] for value in held.values()} == {"{pulse}"}


def test_the_temperature_setting_takes_off_the_station_s_offset(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    found = {
        placement.settings.values["brew_temperature"]["value"]
        for placement in Placement.objects.in_force().select_related("settings")
    }
    assert found == {"93.5"}


def test_a_run_completes_the_publication_and_locks_the_slots(bar: Bar, send: Publish) -> None:
    publication = send()
    assert run.run(publication.pk) == 8
    publication.refresh_from_db()
    assert publication.state == Publication.State.COMPLETE
    assert Placement.objects.in_force().count() == 8


def test_running_twice_places_nothing_twice(bar: Bar, send: Publish) -> None:
    publication = send()
    run.run(publication.pk)
    assert run.run(publication.pk) == 0
    assert Placement.objects.count() == 8


def test_a_newer_publication_supersedes_what_was_there(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    newer = approved(
        bar.cast, draft(bar.cast, {"dose_mass": ("18.5", None, None), **COOLER}, bar.version.recipe)
    )
    run.run(send(newer).pk)
    assert Placement.objects.filter(state="ended").count() == 8
    assert all(old.superseded_by_id for old in Placement.objects.filter(state="ended"))
    titles = set(Placement.objects.in_force().values_list("settings__title", flat=True))
    assert titles == {"Morning blend · Double espresso · version 2"}


COOLER = {
    "beverage_mass": ("36.0", "2", "2"),
    "water_volume": ("70", "2", "2"),
    "brew_temperature": ("91.0", "0.5", "0.5"),
}


def test_what_a_slot_holds_already_is_not_placed_again(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    again = plan_of(bar.version, bar.cast.head_roaster)
    assert {line.outcome for line in again.lines} == {"same"}
    with pytest.raises(Refused, match="Nothing in this plan can be placed"):
        send()


def test_a_plan_that_moved_is_not_signed(bar: Bar) -> None:
    seen = plan_of(bar.version, bar.cast.head_roaster)
    head = bar.cast.head_roaster
    accept(typed_in(bar.stations[0], "4.05", head), head)
    order = ordered(bar.version, EVERYWHERE, When(), "New crop", seen.digest, acknowledged=True)
    with pytest.raises(Refused, match="plan has moved"):
        publish(**order, by=bar.cast.head_roaster, credentials=credentials(bar.cast.head_roaster))
    assert not Publication.objects.exists()
    assert not Placement.objects.exists()


def test_a_moment_by_another_clock_is_not_signed(bar: Bar) -> None:
    """The same words on the plan, but another moment at the site."""
    head, site, when = bar.cast.head_roaster, bar.cast.site, next_week()
    seen = plan_of(bar.version, head, when=when)
    change_site(
        site=site, revision=site.revision, name=site.name, time_zone="Asia/Tokyo",
        altitude=site.altitude, by=head,
    )  # fmt: skip
    assert plan_of(bar.version, head, when=when).due[site.pk] != seen.due[site.pk]
    order = ordered(bar.version, EVERYWHERE, when, "New crop", seen.digest, acknowledged=True)
    with pytest.raises(Refused, match="moved"):
        publish(**order, by=head, credentials=credentials(head))


def test_a_version_on_its_way_is_not_withdrawn(bar: Bar, send: Publish) -> None:
    """The worker would go on placing at each site's hour what was taken out of use for good."""
    head = bar.cast.head_roaster
    waiting = send(when=next_week())
    with pytest.raises(Refused, match="under way: slots still wait") as told:
        withdraw(by=head, version=bar.version, revision=bar.version.revision, reason="Burnt roast")
    assert "Stop it" in told.value.how_to_ask
    stop(by=head, publication=waiting, revision=waiting.revision, reason="Burnt roast")
    with pytest.raises(Refused, match="stopped: slots still wait"):
        withdraw(by=head, version=bar.version, revision=bar.version.revision, reason="Burnt roast")
    cancel(by=head, publication=waiting, revision=waiting.revision, reason="Burnt roast")
    assert (
        withdraw(
            by=head, version=bar.version, revision=bar.version.revision, reason="Burnt roast"
        ).state
        == "withdrawn"
    )


def test_all_sites_are_said_only_by_somebody_who_covers_them(bar: Bar, send: Publish) -> None:
    """It stands in the history of every slot, and in the list of publications."""
    owner = bar.cast.owner
    here = create_person(by=owner, email="harbour-roaster@example.com", name="Harbour roaster")
    assign_role(by=owner, person=here, role=Role.HEAD_ROASTER, site_id=bar.cast.site.pk)
    scope = Scope(Where.ALL, slot_numbers=(1,))
    assert plan_of(bar.version, here, scope).scope_label == "slot 1 · Harbour"
    assert plan_of(bar.version, bar.cast.head_roaster, scope).scope_label == "slot 1 · all sites"
    assert send(scope=scope).scope_label == "slot 1 · all sites"


def test_a_version_in_review_is_not_published(bar: Bar, send: Publish) -> None:
    with pytest.raises(Refused, match="Only an approved version"):
        send(draft(bar.cast, recipe=bar.version.recipe))


def test_a_shop_lead_may_not_publish_and_the_attempt_is_in_the_history(bar: Bar) -> None:
    lead = bar.cast.shop_lead
    order = ordered(bar.version, EVERYWHERE, When(), "Mine", "0" * 64)
    with pytest.raises(NotPermitted):
        publish(**order, by=lead, credentials=credentials(lead))
    entry = Entry.objects.filter(operation="refused").latest("id")
    assert (entry.actor, entry.action) == (lead.name, "publication.signed")


def test_near_boiling_up_the_hill_needs_to_be_acknowledged(bar: Bar) -> None:
    who, upland = bar.cast.head_roaster, bar.cast.other_site
    upland.altitude = Decimal(2240)  # water boils at 92.5 °C there: ISO 2533 with IAPWS-IF97
    upland.save()
    seen = plan_of(bar.version, who)
    assert any("Upland" in sentence for sentence in seen.to_acknowledge)
    order = ordered(bar.version, EVERYWHERE, When(), "New crop", seen.digest)
    with pytest.raises(Invalid, match="acknowledged"):
        publish(**order, by=who, credentials=credentials(who))


def test_every_placement_has_one_entry_per_change(bar: Bar, send: Publish) -> None:
    run.run(send().pk)
    entries = Entry.objects.filter(table_name="stations_placement")
    assert entries.filter(operation="created").count() == 8
    assert entries.filter(operation="changed", action="publication.run").count() == 8
    assert not entries.filter(signature_id=None).exists()


def test_a_slot_number_narrows_the_scope(bar: Bar, send: Publish) -> None:
    run.run(send(scope=Scope(Where.SITES, (bar.cast.site.pk,), (2,))).pk)
    placed = Placement.objects.in_force().select_related("slot")
    assert {(each.site_id, each.slot.number) for each in placed} == {(bar.cast.site.pk, 2)}
    assert placed.count() == 3
