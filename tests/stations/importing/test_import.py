"""Equipment from one file: all of it or nothing, every bad line named."""

from decimal import Decimal

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted
from people.persons.models import User
from stations.equipment.models import Machine, Site, Slot, Station
from stations.importing.actions import import_equipment
from stations.importing.file import EXAMPLE, NAMES, decode
from stations.importing.plan import plan_import
from tests.cast import Cast
from tests.stations.conftest import Bar

HEAD = ",".join(NAMES).removesuffix(",reason")  # which may be left out
GOOD = "quay,Quay,Asia/Kolkata,7.5,Main,Two boilers,1,3,4.02,-0.4"


def faults_of(text: str, by: User) -> list[tuple[int, str]]:
    return [(fault.line, fault.field) for fault in plan_import(text, by).faults]


def counts() -> tuple[int, int, int, int]:
    models = (Site, Machine, Station, Slot)
    return tuple(model._default_manager.count() for model in models)  # type: ignore[return-value]


def test_a_file_adds_everything_it_names(bar: Bar, cast: Cast) -> None:
    text = f"{HEAD}\n{GOOD}\nquay,,,,Main,,2,2,,\nquay,,,,Second,Two boilers,1,1,,\n"
    report = import_equipment(text=text, by=cast.head_roaster)
    added = (report.sites, report.machines, report.stations, report.slots)
    assert added == (1, 2, 3, 6)
    station = Station.objects.get(machine__site__code="quay", machine__name="Main", number=1)
    assert str(station.pulses_per_millilitre) == "4.02"
    assert str(station.temperature_offset) == "-0.4"
    assert Site.objects.get(code="quay").altitude == Decimal("7.5")
    entries = Entry.objects.filter(action="equipment.imported")
    assert entries.filter(table_name="stations_slot").count() == 6
    assert set(entries.values_list("actor", flat=True)) == {cast.head_roaster.name}


def test_the_same_file_again_changes_nothing(bar: Bar, cast: Cast) -> None:
    text = f"{HEAD}\n{GOOD}\nquay,,,,Main,,2,2,,\n"
    import_equipment(text=text, by=cast.head_roaster)
    before, entries = counts(), Entry.objects.count()
    report = import_equipment(text=text, by=cast.head_roaster)
    assert (report.sites, report.machines, report.stations, report.unchanged) == (0, 0, 0, 2)
    assert (counts(), Entry.objects.count()) == (before, entries)


@pytest.mark.parametrize("apart", [";", "\t"], ids=["semicolons", "tabs"])
def test_where_commas_part_no_cells_a_comma_is_decimal(bar: Bar, cast: Cast, apart: str) -> None:
    text = f"{HEAD}\n{GOOD}\n".replace(",", apart).replace(".", ",")
    import_equipment(text=text, by=cast.head_roaster)
    station = Station.objects.get(machine__site__code="quay", machine__name="Main", number=1)
    assert (str(station.pulses_per_millilitre), str(station.temperature_offset)) == ("4.02", "-0.4")
    assert Site.objects.get(code="quay").altitude == Decimal("7.5")


def test_where_commas_part_the_cells_a_quoted_one_is_decimal(bar: Bar, cast: Cast) -> None:
    text = f"{HEAD}\n{GOOD}\n".replace("4.02", '"4,02"').replace("-0.4", '"-0,4"')
    import_equipment(text=text, by=cast.head_roaster)
    station = Station.objects.get(machine__site__code="quay", machine__name="Main", number=1)
    assert (str(station.pulses_per_millilitre), str(station.temperature_offset)) == ("4.02", "-0.4")


def test_where_commas_part_the_cells_a_bare_one_is_one_cell_too_many(bar: Bar, cast: Cast) -> None:
    text = f"{HEAD}\n{GOOD}\n".replace("4.02", "4,02")
    assert faults_of(text, cast.head_roaster) == [(2, "line")]


def test_a_comma_that_may_part_thousands_is_a_fault(bar: Bar, cast: Cast) -> None:
    text = f"{HEAD}\n{GOOD}\n".replace(",", ";").replace("7.5", "1,234")
    assert "7.5" in GOOD
    assert faults_of(text, cast.head_roaster) == [(2, "altitude_m")]


def test_one_bad_line_keeps_everything_out(bar: Bar, cast: Cast) -> None:
    before = counts()
    text = f"{HEAD}\n{GOOD}\nquay,,,,Main,,2,many,,\n"
    with pytest.raises(Invalid, match="line 3, slots: “many”"):
        import_equipment(text=text, by=cast.head_roaster)
    assert counts() == before


def test_every_bad_line_is_named(bar: Bar, cast: Cast) -> None:
    lines = [
        HEAD,
        "Quay!,Quay,Asia/Kolkata,7,Main,Two boilers,1,3,,",
        "quay,Quay,Mars/Base,7,Main,Two boilers,1,3,,",
        "quay,Quay,Asia/Kolkata,7,Main,Three boilers,1,3,,",
        "",
        'quay,Quay,Asia/Kolkata,7,"Main\nmachine",Two boilers,1,3,,',
        "quay,Quay,Asia/Kolkata,7,Main,Two boilers,0,33,NaN,99",
        "quay,Quay,Asia/Kolkata,7",
        "hill,Harbour,Asia/Kolkata,7,Main,Two boilers,1,3,,",
        "harbour,Haven,,,Left machine,,9,2,,",
        "harbour,,,,Left machine,,1,3,,",
        "harbour,,,,Left machine,,2,2,4.02,",
    ]
    found = faults_of("\n".join(lines), cast.head_roaster)
    assert found == [
        (2, "site_code"), (3, "time_zone"), (4, "machine_type"), (6, "machine"), (8, "station"),
        (8, "slots"), (8, "pulses_per_ml"), (8, "temperature_offset_c"), (9, "line"),
        (10, "site_name"), (11, "site_name"), (12, "slots"), (13, "pulses_per_ml"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("quay,Wharf,Asia/Kolkata,7.5,Main,Two boilers,2,3,,", "site_name"),
        ("quay,,Europe/Paris,,Main,,2,3,,", "time_zone"),
        ("quay,,,8,Main,,2,3,,", "altitude_m"),
        ("quay,,,,Main,One boiler,2,3,,", "machine_type"),
        ("quay,,,,Main,,1,3,,", "station"),
        ("pier,,Asia/Kolkata,7,Main,Two boilers,1,3,,", "site_name"),
        ("pier,Pier,,7,Main,Two boilers,1,3,,", "time_zone"),
        ("pier,Pier,Asia/Kolkata,,Main,Two boilers,1,3,,", "altitude_m"),
        ("pier,Quay,Asia/Kolkata,7,Main,Two boilers,1,3,,", "site_name"),
        ("pier,Pier,Asia/Kolkata,7,,Two boilers,1,3,,", "machine"),
        ("pier,Pier,Asia/Kolkata,7,Main,,1,3,,", "machine_type"),
        ('pier,Pier,Asia/Kolkata,"7,5,0",Main,Two boilers,1,3,,', "altitude_m"),
        ("pier,Pier,Asia/Kolkata,1e3,Main,Two boilers,1,3,,", "altitude_m"),
        ("pier,Pi\x00er,Asia/Kolkata,7,Main,Two boilers,1,3,,", "site_name"),
        (f"pier,{'P' * 81},Asia/Kolkata,7,Main,Two boilers,1,3,,", "site_name"),
    ],
)
def test_lines_that_contradict_each_other(bar: Bar, cast: Cast, line: str, field: str) -> None:
    found = faults_of(f"{HEAD}\n{GOOD}\n{line}\n", cast.head_roaster)
    assert found == [(3, field)]


@pytest.mark.parametrize(
    "data",
    [
        f"{HEAD}\n{GOOD}\n".encode(),
        f"\ufeff{HEAD}\r\n{GOOD}\r\n".encode(),
        f"{HEAD}\n{GOOD}\n".replace(",", ";").encode(),
        f"{HEAD}\n{GOOD}\n".replace(",", "\t").encode(),
        f"\n\n{HEAD.upper()}\n\n{GOOD}\n,,,,,,,,,\n".encode(),
        EXAMPLE.encode(),
    ],
    ids=["plain", "mark and CRLF", "semicolons", "tabs", "blank lines", "example"],
)
def test_files_as_programs_write_them(bar: Bar, cast: Cast, data: bytes) -> None:
    text = decode(data).replace("harbour,Harbour", "dock,Dock").replace("harbour,", "dock,")
    assert plan_import(text, cast.head_roaster).faults == []


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", "header"), (b"\xef\xbb\xbf", "header"), (f"{HEAD}\n".encode(), "no lines"),
        (b"a,b\n1,2\n", "header"), (f"{HEAD},slots\n{GOOD},1".encode(), "each column once"),
        (HEAD.replace("slots", "").encode(), "header"), (b"\xff\xfe\x00a", "UTF-8"),
        (f"{HEAD}\nqu\xe9,".encode("latin-1"), "UTF-8"), (b"\x89PNG\r\n\x1a\n" * 9, "UTF-8"),
        (f'{HEAD}\n"quay,Quay\n'.encode(), "CSV"), (f'{HEAD}\nqu"ay"x,"y"z,\n'.encode(), "CSV"),
        (b"x" * 4_000_001, "at most 4 MB"), (b"\x00" * 5000, "header"),
        ((HEAD + "\n" + "\n".join([GOOD] * 20_001)).encode(), "at most 20000 lines"),
        (f"{HEAD}\n{'x' * 200_000}\n".encode(), "CSV"),
    ],
)  # fmt: skip
def test_what_is_no_such_file_is_said_in_a_sentence(
    bar: Bar, cast: Cast, data: bytes, message: str
) -> None:
    with pytest.raises(Invalid) as raised:
        plan_import(decode(data), cast.head_roaster)
    assert message in raised.value.message


def test_a_role_over_some_sites_imports_there_only(bar: Bar, cast: Cast) -> None:
    with pytest.raises(NotPermitted):
        import_equipment(text=f"{HEAD}\n{GOOD}\n", by=cast.shop_lead)


def test_a_chain_takes_as_many_statements_as_a_bar(
    bar: Bar, cast: Cast, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    lines = [HEAD]
    for site in range(100):
        where = f"site-{site},Site {site},Europe/Lisbon,{site}"
        lines += [
            f"{where},Machine {n // 3},Two boilers,{n % 3 + 1},6,4.{site % 10},-0.1"
            for n in range(12)
        ]
    with django_assert_max_num_queries(40):
        report = import_equipment(text="\n".join(lines), by=cast.head_roaster)
    assert (report.stations, report.slots) == (1_200, 7_200)


def test_a_file_of_before_heads_the_machine_type_differently(bar: Bar, cast: Cast) -> None:
    head = HEAD.replace("machine_type", "abilities")
    assert head != HEAD
    assert faults_of(f"{head}\n{GOOD}\n", cast.head_roaster) == []


def test_a_figure_that_is_not_usual_takes_a_reason(bar: Bar, cast: Cast) -> None:
    """0.243 is 4.11 with its columns swapped; the file says why, or the line is named."""
    odd = GOOD.replace("4.02,-0.4", "0.243,-8")
    assert faults_of(f"{HEAD}\n{odd}\n", cast.head_roaster) == [
        (2, "pulses_per_ml"), (2, "temperature_offset_c"),
    ]  # fmt: skip
    text = f"{HEAD},reason\n{odd},A turbine of the old kind\n"
    import_equipment(text=text, by=cast.head_roaster)
    entries = Entry.objects.filter(action="equipment.imported", table_name="stations_station")
    assert {entry.reason for entry in entries} == {"line 2: A turbine of the old kind"}


def test_a_technician_imports_at_their_sites_and_adds_none(bar: Bar, cast: Cast) -> None:
    """All or nothing, faults by line; a new site is the owner's to add."""
    there = f"harbour,,,,{bar.machine.name},,9,3,4.02,-0.4"
    assert faults_of(f"{HEAD}\n{GOOD}\n{there}\n", cast.technician) == [(2, "site_code")]
    before = counts()
    with pytest.raises(Invalid, match="line 2"):
        import_equipment(text=f"{HEAD}\n{GOOD}\n{there}\n", by=cast.technician)
    assert counts() == before
    report = import_equipment(text=f"{HEAD}\n{there}\n", by=cast.technician)
    assert (report.sites, report.stations, report.slots) == (0, 1, 3)
