"""A permit for a slot that a publication is on its way to."""

from datetime import UTC, datetime, timedelta

import pytest

from audit.errors import Refused
from recipes.permits.actions import end
from recipes.publishing import run
from stations.slots.models import Placement
from tests.bar import Bar
from tests.cast import PASSWORD, SignedIn
from tests.publishing import Publish
from tests.recipes.permits.hands import granting
from tests.recipes.publishing.hands import (
    at_slot,
    in_force,
    make_due,
    next_week,
    order_for,
    other_version,
    signing,
)


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force."""
    run.run(send().pk)
    return bar


def query(bar: Bar) -> dict[str, str | int]:
    day = (datetime.now(UTC) + timedelta(days=9)).date().isoformat()
    chosen = {"site": bar.cast.site.pk, "slots": bar.slots[0].pk}
    return {**chosen, "brew_temperature": "91.5", "date": day, "time": "18:00"}


def test_it_may_last_until_then_and_the_plan_says_so(placed: Bar, signed_in: SignedIn) -> None:
    slot, head = placed.slots[0], placed.cast.head_roaster
    order = order_for(other_version(placed), head, at_slot(slot), next_week())
    publication = signing(order, head)()
    page = signed_in(head).get("/permits/new/", query(placed)).content.decode()
    assert f"Publication {publication.pk} takes over here" in page
    permit = granting([slot], head)()
    make_due(publication)
    run.run(publication.pk)
    assert in_force(slot).basis_id == publication.pk
    assert not Placement.objects.filter(slot=slot, state="suspended").exists()
    with pytest.raises(Refused, match="has ended already"):
        end(by=head, permit=permit, revision=permit.revision, reason="Moot")


def test_one_that_would_end_at_once_is_refused(placed: Bar) -> None:
    slot, head = placed.slots[0], placed.cast.head_roaster
    publication = signing(order_for(other_version(placed), head, at_slot(slot)), head)()
    with pytest.raises(Refused, match=f"publication {publication.pk} is about to take over"):
        granting([slot], head)()


def test_a_plan_that_moved_says_so_even_if_nothing_is_left_to_sign(
    placed: Bar, signed_in: SignedIn
) -> None:
    slot, head = placed.slots[0], placed.cast.head_roaster
    browser = signed_in(head)
    url = "/permits/new/"
    seen = browser.get(url, query(placed)).context["plan"].digest
    signing(order_for(other_version(placed), head, at_slot(slot)), head)()
    typed = {"seen_digest": seen, "reason": "Hot", "email": head.email, "password": PASSWORD}
    answer = browser.post(url, typed, query_params=query(placed))
    assert answer.status_code == 409
    page = answer.content.decode()
    assert "The plan has moved" in page
    assert "is about to take over this slot" in page
