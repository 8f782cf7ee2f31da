"""A new version goes where its recipe is in force, unless somebody says otherwise."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from audit.errors import Invalid, Refused
from recipes.publishing import run
from recipes.publishing.actions import publish
from recipes.publishing.models import Publication
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.versions.models import Version
from stations.equipment.models import Machine
from tests.bar import DOUBLE, Bar, approved, draft, station
from tests.cast import ApiAs, SignedIn, credentials
from tests.publishing import Publish, ordered, plan_of, send
from tests.recipes.publishing.hands import at_slot, next_week, other_version

__all__ = ["send"]
COOLER = {**DOUBLE, "brew_temperature": ("92.0", "0.5", "0.5")}


def next_version(bar: Bar) -> Version:
    """A cooler one of the bar's recipe."""
    return approved(bar.cast, draft(bar.cast, COOLER, bar.version.recipe))


@pytest.fixture
def newer(bar: Bar, send: Publish) -> Version:
    """A newer version, while the first is in force in every slot 1 and another recipe in two."""
    run.run(send(scope=Scope(Where.ALL, slot_numbers=(1,))).pk)
    run.run(send(other_version(bar), scope=Scope(Where.ALL, slot_numbers=(2,))).pk)
    return next_version(bar)


def held(version: Version, where: Where = Where.ALL, *ids: int) -> Scope:
    return Scope(where, ids, holds=version.recipe_id)


def body(response: Any) -> str:  # noqa: ANN401
    """The page as text."""
    return str(response.content, "utf-8")


def test_it_reaches_the_slots_where_the_recipe_is_in_force(bar: Bar, newer: Version) -> None:
    plan = plan_of(newer, bar.cast.head_roaster, held(newer))
    assert [line.slot.number for line in plan.to_place] == [1, 1, 1, 1]
    assert len(plan.lines) == 4
    here = plan_of(newer, bar.cast.head_roaster, held(newer, Where.SITES, bar.cast.site.pk))
    assert len(here.lines) == 3


def test_what_holds_it_already_is_said(bar: Bar, newer: Version, send: Publish) -> None:
    run.run(send(newer, scope=at_slot(bar.slots[0])).pk)
    counts = plan_of(newer, bar.cast.head_roaster, held(newer)).counts()
    assert (counts["place"], counts["same"]) == (3, 1)  # type: ignore[index]


def test_signing_is_for_the_slots_that_were_seen(bar: Bar, newer: Version, send: Publish) -> None:
    """One more slot got the recipe meanwhile: the plan has moved."""
    head, scope = bar.cast.head_roaster, held(newer)
    seen = plan_of(newer, head, scope)
    run.run(send(newer, scope=at_slot(bar.slots[1])).pk)
    order = ordered(newer, scope, When(), "Cooler", seen.digest, acknowledged=True)
    with pytest.raises(Refused, match="plan has moved"):
        publish(**order, by=head, credentials=credentials(head))


def test_what_is_kept_says_where(newer: Version, send: Publish) -> None:
    made = send(newer, scope=held(newer))
    assert made.scope == {"where": "all", "ids": [], "slot_numbers": [], "holds": newer.recipe_id}
    assert made.scope_label == f"wherever {newer.recipe} is in force · all sites"
    assert run.run(made.pk) == 4


def test_a_plan_asks_no_more_with_more_slots(bar: Bar, newer: Version, send: Publish) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            plan_of(newer, bar.cast.head_roaster, held(newer))
        return len(queries)

    run.run(send(newer, scope=at_slot(bar.slots[0])).pk)
    few = asked()
    front = Machine.objects.get(pk=bar.stations[0].machine_id)
    more = [station(front, number, "4.00", slots=1).pk for number in range(3, 12)]
    run.run(send(newer, scope=Scope(Where.STATIONS, tuple(more))).pk)
    assert asked() == few


# The form: what is chosen without choosing, and what is refused.


@pytest.fixture
def roaster(bar: Bar, signed_in: SignedIn) -> Client:
    """The head roaster's browser."""
    return signed_in(bar.cast.head_roaster)


def test_one_press_replaces_the_older_version(roaster: Client, newer: Version) -> None:
    page = roaster.get(f"/versions/{newer.pk}/publish/")
    form = page.context["form"]
    chosen = {name: form[name].value() for name in ("which", "where")}
    assert chosen == {"which": "held", "where": "all"}
    assert "4 slots at 2 sites" in body(page)
    plan = roaster.get(f"/versions/{newer.pk}/publish/", chosen, follow=True)
    assert [line.slot.number for line in plan.context["plan"].to_place] == [1, 1, 1, 1]


def test_nowhere_in_force_the_slots_are_asked_for(roaster: Client, bar: Bar) -> None:
    url = f"/versions/{bar.version.pk}/publish/"
    assert roaster.get(url).context["form"]["which"].value() == "numbered"
    for asked in ({"where": "all"}, {"where": "all", "which": "numbered"}):
        page = roaster.get(url, asked)
        assert page.status_code == 400, asked
        assert "plan" not in page.context
    page = roaster.get(url, {"where": "all", "which": "every"}, follow=True)
    assert len(page.context["plan"].lines) == 8


@pytest.mark.parametrize(
    ("chosen", "field"),
    [
        ({"which": "held", "where": "all", "slots": "2"}, "slots"),
        ({"which": "every", "where": "all", "slots": "2"}, "slots"),
        ({"which": "held", "where": "all", "sites": "{site}"}, "sites"),
        ({"which": "every", "where": "sites", "stations": "{station}"}, "stations"),
    ],
)
def test_what_is_filled_in_and_would_be_left_out_is_refused(
    roaster: Client, bar: Bar, newer: Version, chosen: dict[str, str], field: str
) -> None:
    """Somebody who ticks Harbour and leaves “All sites” means one of the two."""
    ids = {"site": bar.cast.site.pk, "station": bar.stations[0].pk}
    asked = {name: value.format(**ids) for name, value in chosen.items()}
    page = roaster.get(f"/versions/{newer.pk}/publish/plan/", asked)
    assert page.status_code == 400
    assert field in page.context["form"].errors


def test_a_slot_number_that_exists_nowhere_is_refused(
    roaster: Client, bar: Bar, newer: Version, api_as: ApiAs
) -> None:
    for path in ("publish/", "publish/plan/"):
        page = roaster.get(f"/versions/{newer.pk}/{path}", {"where": "all", "slots": "1 77"})
        assert page.status_code == 400
        assert "77" in body(page)
        assert "slots there: 1 and 2" in body(page)
    with pytest.raises(Invalid, match="slots there: 1 and 2"):
        plan_of(newer, bar.cast.head_roaster, Scope(Where.ALL, slot_numbers=(77,)))
    answer = api_as(bar.cast.head_roaster).post(
        "/api/v1/publications/plan/",
        {"version": newer.pk, "where": "all", "slot_numbers": [77]},
        format="json",
    )
    assert answer.status_code == 400
    assert "slot_numbers" in str(answer.json())


@pytest.mark.parametrize(
    ("slots", "field"),
    [
        ({}, "slot_numbers"),
        ({"slot_numbers": [], "every_slot": False}, "slot_numbers"),
        ({"slot_numbers": [1], "every_slot": True}, "every_slot"),
    ],
)
def test_a_program_says_which_slots_before_a_plan(
    bar: Bar, newer: Version, api_as: ApiAs, slots: dict[str, Any], field: str
) -> None:
    client = api_as(bar.cast.head_roaster)
    sent = {"version": newer.pk, "where": "all", **slots}
    answer = client.post("/api/v1/publications/plan/", sent, format="json")
    assert answer.status_code == 400
    assert [one["field"] for one in answer.json()["problems"]] == [field]
    asked = {"version": newer.pk, "where": "all", "every_slot": True}
    plan = client.post("/api/v1/publications/plan/", asked, format="json").json()
    assert plan["digest"] == plan_of(newer, bar.cast.head_roaster).digest


def test_stations_can_be_ticked_at_once(roaster: Client, bar: Bar, newer: Version) -> None:
    page = roaster.get(f"/versions/{newer.pk}/publish/")
    assert "Harbour · Front · station 2" in body(page)
    assert "Upland · Counter" in body(page)
    asked = {"where": "stations", "which": "numbered", "slots": "2"}
    asked |= {"stations": str(bar.stations[1].pk)}
    plan = roaster.get(f"/versions/{newer.pk}/publish/", asked, follow=True).context["plan"]
    assert [(line.slot.station_id, line.slot.number) for line in plan.lines] == [
        (bar.stations[1].pk, 2)
    ]


def test_the_page_says_what_each_slot_number_holds(
    roaster: Client, bar: Bar, newer: Version, send: Publish
) -> None:
    page = body(roaster.get(f"/versions/{newer.pk}/publish/"))
    assert "Version 1" in page
    assert "Short" in page
    send(newer, scope=held(newer), when=next_week())
    on_its_way = Publication.objects.latest("pk").get_absolute_url()
    assert on_its_way in body(roaster.get(f"/versions/{newer.pk}/publish/"))


def test_the_page_asks_no_more_with_more_sites(roaster: Client, bar: Bar, newer: Version) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert roaster.get(f"/versions/{newer.pk}/publish/").status_code == 200
        return len(queries)

    few = asked()
    front = Machine.objects.get(pk=bar.stations[0].machine_id)
    for number in range(3, 30):
        station(front, number, "4.00", slots=4)
    assert asked() == few
    assert few <= 17  # one of them: the variants of the version
