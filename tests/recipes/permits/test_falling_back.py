"""A permit that ends after a re-calibration falls back to settings by the new calibration."""

from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial

import pytest
from django.db import Error, connection, transaction

from audit.capture.models import Entry
from recipes.permits.actions import end, end_due_permits
from recipes.publishing import run
from recipes.recalibration.plan import make_retranslation_plan
from stations.equipment.models import Slot, Station
from stations.slots.models import Placement, ReadBack
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish
from tests.races import at_once
from tests.recipes.calibrating import accept, holds, measure
from tests.recipes.permits.hands import granting, make_overdue
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.hands import split, work
from tests.recipes.recalibration.test_retranslation_races import accepting, wrong_pulses
from tests.services import rounds
from tests.stations.gateways.box import enrolled

Race = list[Callable[[], object]]
ROUNDS = rounds(60, 8)


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def water(placement: Placement) -> str:
    return str(placement.settings.values["water_volume"]["value"])


def beneath(slot: Slot) -> Placement:
    return Placement.objects.select_related("settings").get(slot=slot, state="suspended")


def test_it_is_listed_before_anybody_accepts(placed: Bar, signed_in: SignedIn) -> None:
    slot, who = placed.slots[0], placed.cast.technician
    made = permit([slot], placed.cast.head_roaster)
    plan = make_retranslation_plan(calibration=measure(slot.station, "4.2", who), by=who)
    line = plan.lines[0]
    assert (str(line.outcome), line.until) == ("fall_back", made.ends_at)
    assert ("water_volume", "280", "294", "{pulse}") in line.changes
    path = f"/calibrations/{plan.calibration.pk}/accept/"
    page = signed_in(who).get(path).content.decode()
    assert "then goes back to the new settings, not the old" in page
    assert "to re-translate under a permit" in page


def test_the_permit_holds_and_its_end_brings_the_new_settings(placed: Bar) -> None:
    slot, head, who = placed.slots[0], placed.cast.head_roaster, placed.cast.technician
    old = holds(slot)
    made = permit([slot], head)
    on_permit = holds(slot)
    calibration = accept(measure(slot.station, "4.2", who), who)
    assert holds(slot).pk == on_permit.pk
    assert water(holds(slot)) == "280"
    waiting = beneath(slot)
    assert (water(waiting), waiting.basis, waiting.basis_id) == (
        "294", "re_translation", calibration.pk,
    )  # fmt: skip
    assert waiting.settings.content_digest == old.settings.content_digest
    assert waiting.signature is not None
    assert waiting.signature.digest == calibration.plan_digest
    old.refresh_from_db()
    assert (old.state, old.superseded_by_id) == ("ended", waiting.pk)
    assert end(by=head, permit=made, revision=made.revision, reason="Gasket changed") == 1
    after = holds(slot)
    assert (after.pk, after.verdict, water(after)) == (waiting.pk, "unread", "294")


def test_a_second_calibration_replaces_the_first(placed: Bar) -> None:
    slot, who = placed.slots[0], placed.cast.technician
    made = permit([slot], placed.cast.head_roaster)
    for slope in ("4.2", "4.1"):
        accept(measure(slot.station, slope, who), who)
    make_overdue(made)
    assert end_due_permits() == 1
    assert water(holds(slot)) == "287"
    assert not Placement.objects.filter(slot=slot, state__in=["suspended", "scheduled"]).exists()


def test_where_nothing_changes_or_nothing_fits_it_says_so(placed: Bar) -> None:
    slot, who = placed.slots[0], placed.cast.technician
    permit([slot], placed.cast.head_roaster)
    same = make_retranslation_plan(calibration=measure(slot.station, "4.0", who), by=who).lines[0]
    assert str(same.outcome) == "leave"
    assert "stays the same" in same.reasons[0]
    wide = make_retranslation_plan(calibration=measure(slot.station, "40", who), by=who).lines[0]
    assert str(wide.outcome) == "refuse"
    assert "goes back to what was translated before" in wide.reasons[0]
    before = beneath(slot)
    accept(measure(slot.station, "40", who), who)
    assert beneath(slot).pk == before.pk


def test_a_publication_still_takes_over_from_all_of_it(placed: Bar, send: Publish) -> None:
    slot, who = placed.slots[0], placed.cast.technician
    permit([slot], placed.cast.head_roaster)
    accept(measure(slot.station, "4.2", who), who)
    run.run(send().pk)
    assert (holds(slot).basis, water(holds(slot))) == ("publication", "294")
    assert not Placement.objects.filter(slot=slot, state="suspended").exists()


def test_the_history_names_who_and_why(placed: Bar) -> None:
    slot, who = placed.slots[0], placed.cast.technician
    permit([slot], placed.cast.head_roaster)
    accept(measure(slot.station, "4.2", who), who)
    rows = Entry.objects.filter(action="calibration.accepted", table_name="stations_placement")
    changed = rows.filter(subject_id=slot.pk, changes__state=["scheduled", "suspended"])
    assert changed.count() == 1
    assert changed.get().actor_id == who.pk


END = (
    "UPDATE stations_placement SET state = 'ended', ended_at = clock_timestamp(),"
    " superseded_by_id = {%s} WHERE id = {beneath};"
)
SUSPEND = (
    "UPDATE stations_placement SET state = 'suspended', started_at = now(),"
    " superseded_by_id = {permit} WHERE id = {waiting}"
)
ATTACKS = {
    "a publication beneath a permit": (
        f"WITH gone AS ({END.rstrip(';') % 'waiting'} RETURNING id) {SUSPEND}"
        " AND (SELECT count(*) FROM gone) = 1",
        "Only what renews",
    ),
    "a publication that waits": (END % "waiting" + SUSPEND, "A locked slot stays locked"),
    "two beneath a permit": (SUSPEND, "placement_one_suspended"),
    "no way back": (END % "permit", "A locked slot stays locked"),
    "beside the permit": (
        "UPDATE stations_placement SET state = 'in_force' WHERE id = {beneath}",
        "placement_one_in_force",
    ),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_nothing_else_takes_that_place(placed: Bar, send: Publish, name: str) -> None:
    """Nor does a publication that is due: it takes over the slot, permit and all, or waits."""
    slot, who = placed.slots[0], placed.cast.technician
    permit([slot], placed.cast.head_roaster)
    accept(measure(slot.station, "4.2", who), who)
    send()
    statement, told = ATTACKS[name]
    ids = {
        "permit": holds(slot).pk,
        "beneath": beneath(slot).pk,
        "waiting": Placement.objects.get(slot=slot, state="scheduled").pk,
    }
    with pytest.raises(Error, match=told), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format(**ids))


@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("quiet")
def test_a_permit_ending_against_a_calibration_accepted(bar: Bar, send: Publish) -> None:
    """Whoever is first: in the end the slot holds 70 mL by the station's value of then."""
    work(send().pk, 100)
    head, who, slot = bar.cast.head_roaster, bar.cast.technician, bar.slots[0]
    for number in range(ROUNDS):
        made = granting([slot], head)()
        make_overdue(made)
        measured = measure(bar.stations[0], f"4.{number % 5 + 1}", who)
        ending = end_due_permits if number % 2 else partial(
            end, by=head, permit=made, revision=made.revision, reason="Mended"
        )  # fmt: skip
        race: Race = [partial(accepting, measured, who), ending]
        won, lost = split(at_once(race))
        assert len(won) + len(lost) == 2
        made.refresh_from_db()
        assert made.state == "ended"
        if lost:  # the plan had moved: it is looked at again, and accepted
            accepting(measured, who)
        assert not Placement.objects.filter(slot=slot, state="suspended").exists()
        assert wrong_pulses() == []
        assert Station.objects.get(pk=slot.station_id).slope_uncertainty is not None


def test_after_it_a_gateway_tells_anew_what_it_told_before(placed: Bar) -> None:
    slot, owner = placed.slots[0], placed.cast.owner
    box = enrolled(owner, placed.cast.site)[0]
    back = holds(slot)
    told = {"slot": slot.pk, "placement": back.pk, "settings": back.settings.values}
    assert box.report(box.event("read_back", told)).json()["taken"] == 1
    made = permit([slot], placed.cast.head_roaster)
    end(by=placed.cast.head_roaster, permit=made, revision=made.revision, reason="Mended")
    before = datetime.now(UTC)
    for _ in range(2):
        assert box.report(box.event("read_back", told)).json()["taken"] == 1
    assert ReadBack.objects.filter(placement=back).count() == 2
    assert ReadBack.objects.filter(placement=back, at__gte=before).count() == 1
    assert holds(slot).verdict == "matches"
