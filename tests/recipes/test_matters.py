"""Each kind of matter finds what there is and for whom, in a fixed number of queries."""

from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.notices.finding import find_matters
from people.notices.hearing import matters_of
from people.notices.kinds import kinds
from people.notices.models import Matter
from people.persons.models import User
from recipes.publishing.actions import stop
from recipes.publishing.models import Publication
from recipes.requests.decisions import ask_back, decline
from recipes.requests.models import ChangeRequest
from stations.slots.models import Placement
from tests.bar import Bar
from tests.permissions.world import make_world
from tests.recipes.shelf import ask

KINDS = {
    "to_load", "differs", "drift", "calibration_due", "request", "decided", "version",
    "permit_ends", "held", "history_alarm",
}  # fmt: skip


def heard(person: User) -> dict[str, int]:
    """How many of each kind there are for somebody."""
    counts: dict[str, int] = {}
    for matter in matters_of(person, 1000):
        counts[matter.kind] = counts.get(matter.kind, 0) + 1
    return counts


def test_these_kinds_there_are() -> None:
    assert set(kinds()) >= KINDS


def test_a_request_is_for_who_decides_and_its_answer_for_who_asked(bar: Bar) -> None:
    cast = bar.cast
    request = ask(cast, bar.version)
    find_matters()
    assert heard(cast.head_roaster)["request"] == 1
    assert "request" not in heard(cast.shop_lead)
    ask_back(by=cast.head_roaster, request=request, revision=request.revision, reason="How sour?")
    find_matters()
    assert "request" not in heard(cast.head_roaster)
    assert heard(cast.shop_lead)["decided"] == 1
    assert "decided" not in heard(cast.other_lead)
    again = ask(cast, bar.version)
    decline(by=cast.head_roaster, request=again, revision=again.revision, reason="No")
    find_matters()
    titles = {m.title for m in matters_of(cast.shop_lead, 9) if m.kind == "decided"}
    assert {title.rsplit(": ", 1)[1] for title in titles} == {"asked back", "declined"}
    assert ChangeRequest.objects.count() == 2


def under_way(pk: int) -> Publication:
    """One that is running still: the rules of the table aside, for it placed at once."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute(
            "UPDATE recipes_publication SET state = 'running', completed_at = NULL WHERE id = %s",
            [pk],
        )
        cursor.execute("SET LOCAL session_replication_role = origin")
    return Publication.objects.get(pk=pk)


def test_everything_of_a_world_with_two_bars(bar: Bar) -> None:
    world = make_world(bar)
    cast = bar.cast
    publication = under_way(world.own["publication"]["pk"])
    stop(by=cast.head_roaster, publication=publication, revision=publication.revision,
         reason="Wrong lot")  # fmt: skip
    find_matters()
    kinds_found = set(Matter.objects.values_list("kind", flat=True))
    assert {"request", "version", "permit_ends", "held"} <= kinds_found
    # The version is by the head roaster, who never approves it; the other one may.
    assert "version" not in heard(cast.head_roaster)
    assert heard(cast.second_roaster)["version"] == 1
    # What lies at the other bar alone is nothing to a lead; what reaches both is, once.
    assert heard(cast.shop_lead)["held"] == 1
    assert "held" not in heard(cast.other_lead)
    assert heard(cast.shop_lead)["permit_ends"] == 2
    assert heard(cast.barista) == {}
    here = Placement.objects.to_load().filter(site=cast.site).values("basis", "basis_id").distinct()
    assert heard(cast.shop_lead).get("to_load", 0) == here.count()


def test_looking_asks_the_same_however_much_there_is(bar: Bar) -> None:
    counts = []
    find_matters()  # what is read once for all
    for _ in range(2):
        for _ in range(4):
            ask(bar.cast, bar.version)
        with CaptureQueriesContext(connection) as asked:
            find_matters()
        counts.append(len(asked))
    # Seven for each kind at most, with its lock and savepoint. A history that other tests have
    # sealed adds one or two: the alarms look at its witnesses.
    assert counts[0] == counts[1] <= 7 * len(kinds())
