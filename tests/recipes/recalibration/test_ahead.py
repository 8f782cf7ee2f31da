"""What publications have scheduled at a station is translated anew with it, for the same moment."""

from collections.abc import Callable
from datetime import time, timedelta
from typing import Any

import pytest
from django.db import Error, transaction
from django.urls import reverse
from django.utils import timezone

from audit.capture.context import recorded
from audit.errors import Refused
from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from people.persons.actions import PERSON_ADDED
from recipes.planning.served import misfits
from recipes.publishing import run
from recipes.publishing.actions import cancel, stop
from recipes.publishing.timing import When
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import make_retranslation_plan
from recipes.versions.models import Version
from stations.equipment.models import Station
from stations.slots.models import Placement
from tests.attacks import sql
from tests.bar import DOUBLE, Bar, approved, draft
from tests.cast import ApiAs, SignedIn, credentials
from tests.publishing import Publish, send
from tests.recipes.calibrating import accept, holds, measure
from tests.recipes.publishing.lots import opening, with_lot

__all__ = ["send"]
TOMORROW = When((timezone.now() + timedelta(days=1)).date(), time(6, 30))


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The recipe in force everywhere."""
    run.run(send().pk)
    return bar


def newer(bar: Bar) -> Version:
    """A version half a degree warmer, approved."""
    with recorded(by=None, action=PERSON_ADDED):
        warmer = {**DOUBLE, "brew_temperature": ("94.0", "0.5", "0.5")}
        return approved(bar.cast, draft(bar.cast, warmer, bar.version.recipe))


def waiting(station: Station) -> list[Placement]:
    """What is scheduled at a station, by slot."""
    rows = Placement.objects.filter(slot__station=station, state="scheduled")
    return list(rows.select_related("settings", "signature", "slot").order_by("slot__number"))


def pulses(placement: Placement) -> str:
    value: str = placement.settings.values["water_volume"]["value"]
    return value


def test_what_waits_is_in_the_plan_and_translated_with_it(placed: Bar, send: Publish) -> None:
    station, who = placed.stations[0], placed.cast.technician
    made = send(newer(placed), when=TOMORROW)
    before = waiting(station)
    plan = make_retranslation_plan(calibration=measure(station, "4.2", who), by=who)
    assert [(str(line.outcome), line.replaced.pk) for line in plan.waiting] == [
        ("place", each.pk) for each in before
    ]
    assert [seen[0] for seen in plan.content()["waiting"]] == [each.pk for each in before]
    done = accept(plan.calibration, who)
    after = waiting(station)
    assert [pulses(each) for each in after] == ["294"] * len(before)
    assert {(each.basis, each.basis_id, each.manner) for each in after} == {
        ("publication", made.pk, "takes_over")
    }
    assert [each.due_at for each in after] == [each.due_at for each in before]
    assert {each.signature_id for each in after} == {done.signature_id}
    gone = Placement.objects.filter(pk__in=[each.pk for each in before]).order_by("slot__number")
    assert [(each.state, each.superseded_by_id) for each in gone] == [
        ("cancelled", each.pk) for each in after
    ]
    assert holds(after[0].slot).settings.values["water_volume"]["value"] == "294"
    assert misfits(after) == {}


def test_it_comes_into_force_with_its_publication(placed: Bar, send: Publish) -> None:
    """Due at once, and the worker comes after the technician."""
    station, who = placed.stations[0], placed.cast.technician
    made = send(newer(placed))
    accept(measure(station, "4.2", who), who)
    accept(measure(station, "4.3", who), who)  # and anew
    run.run(made.pk)
    made.refresh_from_db()
    assert made.state == "complete"
    for slot in station.slots.all():
        held = holds(slot)
        assert (held.basis, held.basis_id, pulses(held)) == ("publication", made.pk, "301")
        assert held.settings.values["brew_temperature"]["value"] == "94.5"  # 94.0, offset -0.5
        assert misfits([held]) == {}


def test_what_waits_for_a_lot_goes_on_waiting_for_it(
    placed: Bar, send: Publish, signed_in: SignedIn
) -> None:
    station, who, when = placed.stations[0], placed.cast.technician, with_lot(placed)
    made = send(newer(placed), when=when)
    measured = measure(station, "4.2", who)
    page = signed_in(who).get(reverse("recipes:calibration_accept", args=[measured.pk]))
    assert "when Morning blend R1 is opened here" in page.content.decode()
    accept(measured, who)
    assert [pulses(each) for each in waiting(station)] == ["294", "294"]
    assert run.run(made.pk) == 0
    assert when.lot
    opening(when.lot, station, placed.cast.barista)
    run.run(made.pk)
    for slot in station.slots.all():
        held = holds(slot)
        assert (held.basis, held.basis_id, pulses(held)) == ("publication", made.pk, "294")
        assert misfits([held]) == {}


def test_cancelling_the_publication_cancels_it(placed: Bar, send: Publish) -> None:
    station, who = placed.stations[0], placed.cast.technician
    made = send(newer(placed), when=TOMORROW)
    accept(measure(station, "4.2", who), who)
    roaster = placed.cast.head_roaster
    stop(by=roaster, publication=made, revision=made.revision, reason="Wait")
    made.refresh_from_db()
    cancel(by=roaster, publication=made, revision=made.revision, reason="Not now")
    assert waiting(station) == []
    assert holds(station.slots.first()).basis == "re_translation"


def test_what_the_station_cannot_hold_any_more_is_withdrawn(placed: Bar, send: Publish) -> None:
    """At 40 pulses/mL, 70 mL are above the machine's 2,000 pulses."""
    station, who = placed.stations[0], placed.cast.technician
    made = send(newer(placed))
    plan = make_retranslation_plan(calibration=measure(station, "40", who), by=who)
    assert {str(line.outcome) for line in plan.waiting} == {"refuse"}
    assert "2,000" in plan.waiting[0].reasons[0]
    accept(plan.calibration, who)
    assert waiting(station) == []
    assert run.unfinished() == [made.pk]
    run.run(made.pk)
    made.refresh_from_db()
    assert made.state == "complete"  # the others are placed, and nothing is left over
    assert holds(station.slots.first()).basis_id != made.pk


def test_who_published_it_hears_what_was_withdrawn(placed: Bar, send: Publish) -> None:
    station, who, cast = placed.stations[0], placed.cast.technician, placed.cast
    made = send(newer(placed))
    accept(measure(placed.stations[1], "4.2", who), who)  # translated anew: nothing to tell
    accept(measure(station, "40", who), who)
    run.run(made.pk)
    find_matters()
    [told] = [each for each in matters_of(cast.head_roaster, 9) if each.kind == "held"]
    assert told.title == f"Withdrawn from publication {made.pk} of {made.version}: 2 slots"
    assert told.words.startswith("Harbour: ")
    assert told.url == made.get_absolute_url()
    for other in (cast.shop_lead, cast.second_roaster):
        assert "held" not in {each.kind for each in matters_of(other, 9)}


def test_what_was_cancelled_by_a_person_is_not_told_as_withdrawn(
    placed: Bar, send: Publish
) -> None:
    who, roaster = placed.cast.technician, placed.cast.head_roaster
    made = send(newer(placed), when=TOMORROW)
    accept(measure(placed.stations[0], "4.2", who), who)
    stop(by=roaster, publication=made, revision=made.revision, reason="Wait")
    made.refresh_from_db()
    cancel(by=roaster, publication=made, revision=made.revision, reason="Not now")
    find_matters()
    assert "held" not in {each.kind for each in matters_of(roaster, 9)}


def test_what_was_scheduled_after_the_plan_was_seen(placed: Bar, send: Publish) -> None:
    station, who = placed.stations[0], placed.cast.technician
    measured = measure(station, "4.2", who)
    seen = make_retranslation_plan(calibration=measured, by=who).digest
    send(newer(placed), when=TOMORROW)
    with pytest.raises(Refused, match="moved"):
        accept_calibration(
            by=who, calibration=measured, revision=1, seen=seen, credentials=credentials(who),
            reason="Yearly round",
        )  # fmt: skip


def test_pages_and_api_say_what_waits(
    placed: Bar, send: Publish, signed_in: SignedIn, api_as: ApiAs
) -> None:
    station, who = placed.stations[0], placed.cast.technician
    made = send(newer(placed), when=TOMORROW)
    measured = measure(station, "4.2", who)
    page = signed_in(who).get(reverse("recipes:calibration_accept", args=[measured.pk]))
    text = page.content.decode()
    assert "Still to come" in text
    assert "Translated anew" in text
    told: Any = api_as(who).get(f"/api/v1/calibrations/{measured.pk}/plan/").json()
    assert {each["outcome"] for each in told["waiting"]} == {"place"}
    assert told["waiting"][0]["new"]["water_volume"]["value"] == "294"
    accept(measured, who)
    owner = signed_in(placed.cast.owner)
    for address in (measured.get_absolute_url(), made.get_absolute_url()):
        shown = owner.get(address).content.decode()
        assert "Content still has this digest." in shown
        assert "Content has changed since" not in shown


# What the database lets nobody do with that signature.


def _again(placement: Placement, **other: Any) -> Placement:  # noqa: ANN401
    given = {
        "slot": placement.slot, "site": placement.site, "settings": placement.settings,
        "basis": placement.basis, "basis_id": placement.basis_id, "manner": placement.manner,
        "due_at": placement.due_at, "signature": placement.signature,
    }  # fmt: skip
    return Placement.objects.create(**given | other)


FORGED: dict[str, Callable[[Placement, Placement], object]] = {
    "a second one": lambda mine, _: _again(mine),
    "an elder signature": lambda mine, other: _again(other, signature=mine.signature),
    "another moment": lambda mine, _: _again(mine, due_at=timezone.now()),
    "another publication": lambda mine, _: _again(mine, basis_id=1),
}


@pytest.mark.parametrize("name", FORGED)
def test_no_signature_over_a_measurement_places_anything_else(
    placed: Bar, send: Publish, name: str
) -> None:
    who = placed.cast.technician
    send(newer(placed), when=TOMORROW)
    accept(measure(placed.stations[0], "4.2", who), who)
    mine, other = waiting(placed.stations[0])[0], waiting(placed.stations[1])[0]
    with pytest.raises(Error), transaction.atomic():
        FORGED[name](mine, other)


def test_other_settings_than_were_seen_are_found(
    placed: Bar, send: Publish, signed_in: SignedIn
) -> None:
    who = placed.cast.technician
    send(newer(placed), when=TOMORROW)
    made = accept(measure(placed.stations[0], "4.2", who), who)
    (mine, *_) = waiting(placed.stations[0])
    sql("SET LOCAL session_replication_role = replica")()
    sql(
        """UPDATE stations_controlsettings
        SET "values" = jsonb_set("values", '{water_volume,value}', '"300"') WHERE id = %s""",
        mine.settings_id,
    )()
    sql("SET LOCAL session_replication_role = origin")()
    assert misfits(waiting(placed.stations[0])[:1]) == {mine.pk: "the settings"}
    page = signed_in(placed.cast.owner).get(made.get_absolute_url()).content.decode()
    assert "the settings of what waited" in page
