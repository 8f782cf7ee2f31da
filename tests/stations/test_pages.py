"""Every page of the equipment opens for those whose roles cover it, and for nobody else."""

from collections.abc import Callable

import pytest
from django.urls import reverse

from people.persons.models import User
from tests.cast import Cast, SignedIn
from tests.stations.conftest import Bar, place

Address = Callable[[Bar], str]


def at_site(name: str) -> Address:
    return lambda bar: reverse(f"stations:{name}", args=[bar.machine.site_id])


def at_station(name: str) -> Address:
    return lambda bar: reverse(f"stations:{name}", args=[bar.first.pk])


def at_slot(name: str) -> Address:
    return lambda bar: reverse(f"stations:{name}", args=[bar.slot.pk])


SEEN_BY_ALL: dict[str, Address] = {
    "site": at_site("site"),
    "to_key": at_site("to_key"),
    "machine": lambda bar: reverse("stations:machine", args=[bar.machine.pk]),
    "station": at_station("station"),
    "sheet": at_station("sheet"),
    "at": lambda bar: reverse("stations:at", args=[bar.first.code]),
    "slot": at_slot("slot"),
}
SHARED = ("board", "sites", "machine_types")
FOR_THE_DESK: dict[str, Address] = {
    "site_add": lambda bar: reverse("stations:site_add"),
    "site_edit": at_site("site_edit"),
    "machine_add": lambda bar: reverse("stations:machine_add") + f"?site={bar.machine.site_id}",
    "machine_edit": lambda bar: reverse("stations:machine_edit", args=[bar.machine.pk]),
    "station_add": lambda bar: reverse("stations:station_add") + f"?machine={bar.machine.pk}",
    "machine_type_add": lambda bar: reverse("stations:machine_type_add"),
    "machine_type_edit": lambda bar: reverse(
        "stations:machine_type_edit", args=[bar.machine_type.pk]
    ),
    "import": lambda bar: reverse("stations:import"),
    "import_example": lambda bar: reverse("stations:import_example"),
}

FOR_TECHNICIANS_TOO = {"machine_add", "machine_edit", "station_add", "import", "import_example"}


def statuses(signed_in: SignedIn, people: dict[str, User], address: str) -> dict[str, int]:
    return {name: signed_in(who).get(address).status_code for name, who in people.items()}


@pytest.mark.parametrize("page", SEEN_BY_ALL)
def test_a_page_of_a_site_is_for_people_of_that_site(
    page: str, bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    place(bar.slot, cast.head_roaster)
    seen = statuses(signed_in, cast.everyone(), SEEN_BY_ALL[page](bar))
    assert seen.pop("other_lead") == 404
    assert set(seen.values()) == {200}


@pytest.mark.parametrize("page", SHARED)
def test_a_list_is_for_everybody(page: str, bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    seen = statuses(signed_in, cast.everyone(), reverse(f"stations:{page}"))
    assert set(seen.values()) == {200}


@pytest.mark.parametrize("page", FOR_THE_DESK)
def test_equipment_is_edited_at_the_desk(
    page: str, bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    seen = statuses(signed_in, cast.everyone(), FOR_THE_DESK[page](bar))
    desk = {"owner", "head_roaster", "second_roaster"}
    if page in FOR_TECHNICIANS_TOO:
        desk |= {"technician"}
    assert {name for name, status in seen.items() if status == 200} == desk
    assert {status for name, status in seen.items() if name not in desk} <= {403, 404}


@pytest.mark.parametrize("page", [*SEEN_BY_ALL, *FOR_THE_DESK])
def test_nobody_sees_a_page_without_signing_in(page: str, bar: Bar, client: object) -> None:
    address = {**SEEN_BY_ALL, **FOR_THE_DESK}[page](bar)
    answer = client.get(address)  # type: ignore[attr-defined]
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("account_login"))


def test_lists_hold_only_what_a_role_covers(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    for page in ("board", "sites"):
        shown = signed_in(cast.other_lead).get(reverse(f"stations:{page}")).content.decode()
        assert "Upland" in shown
        assert "Harbour" not in shown
