"""A deviation permit, from its plan to the fall-back when it ends."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from people.persons.models import User
from recipes.permits.actions import end, end_due_permits, grant
from recipes.permits.models import Permit
from recipes.permits.plan import Changes, make_permit_plan
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.attacks import refused, sql
from tests.bar import Bar
from tests.cast import PASSWORD, SignedIn, credentials
from tests.publishing import Publish
from tests.recipes.permits.hands import make_overdue

COOLER: Changes = {"brew_temperature": Decimal("91.5")}


def permit(slots: list[Slot], by: User, changes: Changes = COOLER, days: int = 3) -> Permit:
    """Plan and sign in one go."""
    ends_at = datetime.now(UTC) + timedelta(days=days)
    ids = tuple(slot.pk for slot in slots)
    seen = make_permit_plan(slots=ids, changes=changes, ends_at=ends_at, by=by)
    return grant(
        by=by, slots=ids, changes=changes, ends_at=ends_at, seen=seen.digest,
        reason="Gasket worn", credentials=credentials(by), acknowledged=True,
    )  # fmt: skip


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def holds(slot: Slot) -> Placement:
    return Placement.objects.in_force().select_related("settings").get(slot=slot)


def test_the_slot_holds_the_permitted_value_and_the_rest_as_approved(placed: Bar) -> None:
    slot = placed.slots[0]
    permit([slot], placed.cast.head_roaster)
    now = holds(slot)
    assert now.basis == "permit"
    assert (
        now.settings.values["brew_temperature"]["value"] == "92.0"
    )  # 91.5 less the offset of -0.5
    assert now.settings.values["water_volume"]["value"] == "280"


@pytest.mark.parametrize(
    "more",
    [
        "INSERT INTO recipes_permitslot (permit_id, slot_id) VALUES ({permit}, {other})",
        "INSERT INTO recipes_permitchange (permit_id, code, target, text)"
        " VALUES ({permit}, 'brew_pressure', 9, '')",
    ],
)
def test_a_signed_permit_takes_no_further_slot_or_change(placed: Bar, more: str) -> None:
    made = permit([placed.slots[0]], placed.cast.head_roaster)
    attempt = more.format(permit=made.pk, other=placed.slots[1].pk)
    refused(sql(attempt), "A signed permit takes no further")


def test_ending_it_brings_back_what_was_approved_to_be_loaded_again(placed: Bar) -> None:
    slot = placed.slots[0]
    before = holds(slot)
    made = permit([slot], placed.cast.head_roaster)
    assert (
        end(
            by=placed.cast.head_roaster,
            permit=made,
            revision=made.revision,
            reason="Gasket changed",
        )
        == 1
    )
    after = holds(slot)
    assert after.pk == before.pk
    assert after.verdict == Placement.Verdict.UNREAD


def test_it_falls_back_by_itself_when_its_time_is_over(placed: Bar) -> None:
    slot = placed.slots[0]
    made = permit([slot], placed.cast.head_roaster)
    assert end_due_permits() == 0
    make_overdue(made)
    assert end_due_permits() == 1
    assert holds(slot).basis == "publication"
    assert Entry.objects.filter(action="permit.ended", subject_type="permit").exists()


def test_a_publication_takes_over_from_a_permit(placed: Bar, send: Publish) -> None:
    slot = placed.slots[0]
    made = permit([slot], placed.cast.head_roaster)
    run.run(send().pk)
    assert holds(slot).basis == "publication"
    with pytest.raises(Refused, match="has ended already"):
        end(by=placed.cast.head_roaster, permit=made, revision=made.revision, reason="Moot")
    assert holds(slot).basis == "publication"


def test_a_slot_with_nothing_in_force_needs_no_permit(bar: Bar) -> None:
    with pytest.raises(Refused, match="nothing is in force"):
        permit([bar.slots[0]], bar.cast.head_roaster)


def test_a_second_permit_for_the_same_slot_is_refused(placed: Bar) -> None:
    permit([placed.slots[0]], placed.cast.head_roaster)
    with pytest.raises(Refused, match="in force at this slot already"):
        permit([placed.slots[0]], placed.cast.head_roaster)


def test_a_value_the_machine_cannot_reach_is_refused(placed: Bar) -> None:
    plain = placed.stations[2].slots.first()
    assert plain is not None
    with pytest.raises(Refused, match="88"):
        permit([plain], placed.cast.head_roaster, {"brew_temperature": Decimal(85)})


@pytest.mark.parametrize("days", [0, -1, 93])
def test_the_end_lies_within_three_months(placed: Bar, days: int) -> None:
    with pytest.raises(Invalid, match="within the next 92 days"):
        permit([placed.slots[0]], placed.cast.head_roaster, days=days)


def test_a_shop_lead_cannot_grant_one(placed: Bar) -> None:
    with pytest.raises(NotPermitted):
        permit([placed.slots[0]], placed.cast.shop_lead)


def test_a_permit_ends_once(placed: Bar) -> None:
    made = permit([placed.slots[0]], placed.cast.head_roaster)
    end(by=placed.cast.head_roaster, permit=made, revision=made.revision, reason="Done")
    with pytest.raises(Refused, match="ended already"):
        end(by=placed.cast.head_roaster, permit=made, revision=made.revision, reason="Again")


def test_an_end_is_of_the_permit_that_was_seen(placed: Bar) -> None:
    made, head = permit([placed.slots[0]], placed.cast.head_roaster), placed.cast.head_roaster
    with pytest.raises(Stale, match="changed meanwhile"):
        end(by=head, permit=made, revision=made.revision + 1, reason="Done")
    assert holds(placed.slots[0]).basis == "permit"


def test_the_pages_from_slot_to_end(placed: Bar, signed_in: SignedIn) -> None:
    browser, slot = signed_in(placed.cast.head_roaster), placed.slots[0]
    assert browser.get("/permits/new/", {"slot": slot.pk}).status_code == 200
    query = {
        "site": str(placed.cast.site.pk), "slots": str(slot.pk), "brew_temperature": "91.5",
        "date": (datetime.now(UTC) + timedelta(days=2)).date().isoformat(), "time": "18:00",
    }  # fmt: skip
    plan = browser.get("/permits/new/", query)
    assert "92.0" in plan.content.decode()
    url = f"/permits/new/?{plan.context['query']}"
    typed = {
        "seen_digest": plan.context["plan"].digest, "reason": "Gasket worn",
        "email": placed.cast.head_roaster.email, "password": PASSWORD,
    }  # fmt: skip
    assert browser.post(url, typed).status_code == 302
    made = Permit.objects.get()
    assert "91.5" in browser.get(made.get_absolute_url()).content.decode()
    assert browser.get("/permits/").status_code == 200
    end_url = f"{made.get_absolute_url()}end/"
    seen = browser.get(end_url).context["form"]["revision"].value()
    late = browser.post(end_url, {"reason": "Gasket changed", "revision": seen + 1})
    assert (late.status_code, "changed meanwhile" in late.content.decode()) == (412, True)
    ending = browser.post(end_url, {"reason": "Gasket changed", "revision": seen})
    assert ending.status_code == 302
