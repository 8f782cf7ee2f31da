"""A permit whose slots were all taken over is over, everywhere."""

import pytest

from audit.capture.models import Entry
from audit.errors import Refused
from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from recipes.permits.actions import end, end_due_permits
from recipes.permits.models import Permit
from recipes.publishing import run
from recipes.publishing.scope import Scope, Where
from stations.equipment.models import Slot
from tests.attacks import refused, sql
from tests.audit.sealed import unguarded
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.permits.hands import granting
from tests.recipes.publishing.hands import other_version

__all__ = ["send"]


@pytest.fixture
def permitted(bar: Bar, send: Publish) -> Permit:
    """A permit for two slots of the harbour, one of station 1 and one of station 2."""
    run.run(send().pk)
    return granting([bar.slots[0], bar.slots[1]], bar.cast.head_roaster)()


def only(slot: Slot) -> Scope:
    return Scope(Where.STATIONS, (slot.station_id,), (slot.number,))


def test_with_its_last_slot_it_ends(
    bar: Bar, permitted: Permit, send: Publish, signed_in: SignedIn, api_as: ApiAs
) -> None:
    newer = other_version(bar)
    run.run(send(newer, scope=only(bar.slots[0])).pk)
    permitted.refresh_from_db()
    assert permitted.state == "in_force"  # the other slot is still under it
    page = signed_in(bar.cast.head_roaster).get(permitted.get_absolute_url()).content.decode()
    assert page.count("taken over since") == 1
    run.run(send(newer, scope=only(bar.slots[1])).pk)
    permitted.refresh_from_db()
    assert permitted.state == "ended"
    assert permitted.ended_at is not None
    [said] = Entry.objects.filter(action="permit.ended").order_by("-pk")[:1]
    assert said.reason == "Something else took over every slot that it named."
    with pytest.raises(Refused, match="ended already"):
        end(by=bar.cast.head_roaster, permit=permitted, revision=permitted.revision, reason="Now")
    find_matters()
    told = matters_of(bar.cast.shop_lead, 9)
    assert "permit_ends" not in {each.kind for each in told}
    lead = signed_in(bar.cast.shop_lead)
    assert "End it now" not in lead.get(permitted.get_absolute_url()).content.decode()
    assert api_as(bar.cast.shop_lead).get(
        f"/api/v1/permits/{permitted.pk}/"
    ).json()["state"] == "ended"  # fmt: skip


def test_one_that_was_left_in_force_before_ends_with_the_next_look(
    bar: Bar, permitted: Permit
) -> None:
    """As databases have them in which nobody said so."""
    unguarded(
        "UPDATE stations_placement SET state = 'ended', ended_at = clock_timestamp()"
        " WHERE basis = 'permit'"
    )
    assert end_due_permits() == 1
    permitted.refresh_from_db()
    assert permitted.state == "ended"
    assert end_due_permits() == 0
    refused(sql("UPDATE recipes_permit SET state = 'in_force'"), "cannot go")
