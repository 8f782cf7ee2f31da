"""Stopping, resuming, cancelling and running at the same moment."""

from collections.abc import Callable
from functools import partial

import pytest

from audit.capture.models import Entry
from audit.errors import Refused, Stale
from recipes.publishing.actions import cancel, resume, stop
from recipes.publishing.models import Publication
from recipes.publishing.run import complete
from recipes.publishing.scope import Scope, Where
from stations.slots.models import Placement
from tests.bar import Bar
from tests.publishing import Publish
from tests.races import at_once
from tests.recipes.publishing.hands import (
    check_counts,
    later,
    next_week,
    order_for,
    other_version,
    signing,
    split,
    work,
)
from tests.services import rounds

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.usefixtures("quiet")]
ROUNDS = rounds(200, 10)
Act = Callable[..., object]


def pressing(act: Act, publication: Publication, bar: Bar, who: str = "head_roaster") -> Act:
    """A button, pressed by somebody whose page was loaded before."""
    seen = Publication.objects.get(pk=publication.pk)
    presses = getattr(bar.cast, who)
    return partial(act, by=presses, publication=seen, revision=seen.revision, reason="The grinder")


def state_of(publication: Publication) -> str:
    publication.refresh_from_db()
    return str(publication.state)


def entries(publication: Publication, action: str) -> int:
    rows = Entry.objects.filter(table_name="recipes_publication", row_id=publication.pk)
    return rows.filter(action=action, operation="changed").count()


def test_two_stops(bar: Bar, send: Publish) -> None:
    publication = send(when=next_week())
    for number in range(1, ROUNDS + 1):
        race = [
            pressing(stop, publication, bar),
            pressing(stop, publication, bar, "second_roaster"),
        ]
        won, lost = split(at_once(race))
        assert (len(won), [type(told) for told in lost]) == (1, [Refused])
        assert lost[0].message.startswith("This publication is stopped")
        assert state_of(publication) == "stopped"
        assert entries(publication, "publication.stopped") == number
        pressing(resume, publication, bar)()


@pytest.mark.parametrize("begun", ["running", "stopped"])
def test_stop_against_resume(bar: Bar, send: Publish, begun: str) -> None:
    """One of them decides by what it saw; the other came too early, or sees what was done."""
    publication = send(when=next_week())
    for _ in range(ROUNDS):
        if state_of(publication) != begun:
            pressing(stop if begun == "stopped" else resume, publication, bar)()
        race: list[Act] = [pressing(stop, publication, bar), pressing(resume, publication, bar)]
        stopped, resumed = at_once(race)
        _, lost = split([stopped, resumed])
        sure, other = (stopped, resumed) if begun == "running" else (resumed, stopped)
        assert sure is None, "the one that fits the state can't lose"
        assert lost == [other]
        assert isinstance(other, Refused | Stale)
        assert state_of(publication) == {"running": "stopped", "stopped": "running"}[begun]


def test_a_decision_is_about_what_was_seen(bar: Bar, send: Publish) -> None:
    """Stopped, resumed and stopped again: whoever saw the first stop has not seen the second."""
    publication = send(when=next_week())
    seen_running = pressing(stop, publication, bar, "second_roaster")
    pressing(stop, publication, bar)()
    seen_stopped = [pressing(act, publication, bar, "second_roaster") for act in (resume, cancel)]
    pressing(resume, publication, bar)()
    with pytest.raises(Stale, match="changed meanwhile") as told:
        seen_running()
    assert (told.value.current_revision, state_of(publication)) == (publication.revision, "running")
    pressing(stop, publication, bar)()
    for act in seen_stopped:
        with pytest.raises(Stale, match="changed meanwhile"):
            act()
    assert state_of(publication) == "stopped"


def test_resume_against_cancel(bar: Bar) -> None:
    head, scope = bar.cast.head_roaster, Scope(Where.ALL)
    for _ in range(ROUNDS):
        publication = signing(order_for(bar.version, head, scope, next_week()), head)()
        pressing(stop, publication, bar)()
        race = [pressing(resume, publication, bar), pressing(cancel, publication, bar)]
        won, lost = split(at_once(race))
        assert (len(won), [type(told) for told in lost]) == (1, [Refused])
        if state_of(publication) == "running":
            pressing(stop, publication, bar)()
            pressing(cancel, publication, bar)()
        check_counts(publication)
        assert not Placement.objects.filter(state="scheduled").exists()


def test_several_workers_on_one_publication(bar: Bar) -> None:
    head, versions = bar.cast.head_roaster, (bar.version, other_version(bar))
    for number in range(ROUNDS):
        publication = signing(order_for(versions[number % 2], head, Scope(Where.ALL)), head)()
        working = partial(work, publication.pk, 2)
        placed, lost = split(at_once([working, working, working]))
        assert not lost
        work(publication.pk, 2)  # the sweep: a worker may have met only rows that others held
        assert sum(placed) == len(bar.slots)
        assert state_of(publication) == "complete"
        check_counts(publication)
        held = Placement.objects.in_force().filter(basis_id=publication.pk)
        assert held.values("slot").distinct().count() == held.count() == len(bar.slots)
        assert entries(publication, "publication.run") == 1


def test_a_stop_while_workers_place(bar: Bar) -> None:
    """Nothing is placed after somebody was told that it is stopped."""
    head = bar.cast.head_roaster
    # Three take turns: after a round that placed nothing, the next still has something to place.
    versions = (bar.version, other_version(bar), other_version(bar, "Long"))
    for number in range(ROUNDS):
        publication = signing(order_for(versions[number % 3], head, Scope(Where.ALL)), head)()
        working = partial(work, publication.pk, 1)
        stopping = later(0.005 * (number % 5), pressing(stop, publication, bar))
        race: list[Act] = [working, working, stopping]
        outcomes = at_once(race)
        _, lost = split(outcomes)
        assert len(lost) <= 1, "only the stop may be too late"
        check_counts(publication)
        if not lost:
            before = Placement.objects.in_force().filter(basis_id=publication.pk).count()
            assert work(publication.pk, 1) == 0
            assert Placement.objects.in_force().filter(basis_id=publication.pk).count() == before
            finish(publication, bar, number)
        assert state_of(publication) in ("complete", "cancelled")
        check_counts(publication)
        assert not Placement.objects.filter(state="scheduled").exists()


def finish(publication: Publication, bar: Bar, number: int) -> None:
    """Now on, now off: both ways out of a stop."""
    if number % 2:
        pressing(cancel, publication, bar)()
        return
    pressing(resume, publication, bar)()
    work(publication.pk, 3)
    complete(publication.pk)
