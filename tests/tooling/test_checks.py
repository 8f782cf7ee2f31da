"""The checks of our own find what they are for."""

from pathlib import Path

import pytest

from tests.tooling.addresses import named_in, not_pinned
from tests.tooling.layers import named_above
from tests.tooling.listing import ROOT
from tests.tooling.rooms import FILE_LINES, FUNCTION_LINES, HEADS, census, main, too_large

HASH = "    --hash=sha256:" + "0" * 64


def test_a_long_file_and_a_long_function_are_found(tmp_path: Path) -> None:
    file = tmp_path / "long.py"
    file.write_text("def long():\n" + "    pass\n" * FUNCTION_LINES + "\n" * FILE_LINES)
    found = list(too_large(file))
    assert [str(FILE_LINES) in found[0], str(FUNCTION_LINES) in found[1]] == [True, True]


def test_rooms_of_the_allowed_size_are_not(tmp_path: Path) -> None:
    file = tmp_path / "full.py"
    file.write_text("def full():\n" + "    pass\n" * (FUNCTION_LINES - 1))
    assert list(too_large(file)) == []


def test_the_census_counts_every_folder(capsys: pytest.CaptureFixture[str]) -> None:
    counted = {str(row[0]): row for row in census()}
    layers = {"audit", "web", "people", "stations", "recipes", "gateway"}
    assert layers | {"tests", "program"} <= counted.keys()
    assert all(len(row) == len(HEADS) for row in counted.values())
    assert main(["--census"]) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(counted) + 1


@pytest.mark.parametrize(
    "line",
    [
        "see https:" + "//packages.pypi.example/simple/",
        "--find" + "-links=wheels",
        "open('/" + "home/somebody/notes')",
    ],
)
def test_addresses_of_registries_and_machines_are_found(line: str) -> None:
    assert list(named_in(f"fine\n{line}\n"))


@pytest.mark.parametrize("line", ["django>=5", "-e .", "--index" + "-url x", "django"])
def test_a_requirement_must_be_pinned(line: str) -> None:
    assert list(not_pinned(line))


def test_pinned_requirements_pass() -> None:
    marked = f"numpy==2.4.6 ; python_full_version < '3.12' \\\n{HASH}"
    assert list(not_pinned(f"django==5.2.19 \\\n{HASH} \\\n{HASH}\n{marked}")) == []


def test_the_requirements_files_agree() -> None:
    run, dev, box = (
        {line.split(" \\")[0] for line in (ROOT / name).read_text().splitlines() if "==" in line}
        for name in ("requirements.txt", "requirements-dev.txt", "requirements-gateway.txt")
    )
    assert run | box <= dev


@pytest.mark.parametrize(
    "line",
    ['reverse("recipes:" + "permit")'.replace('" + "', ""), "JOIN recipes_permit p ON true"],
)
def test_names_of_a_folder_above_are_found(line: str) -> None:
    tables = {"recipes_permit": "recipes", "stations_slot": "stations"}
    assert [above for _, above, _ in named_above(line, "stations", tables)] == ["recipes"]
    assert list(named_above(line, "recipes", tables)) == []
    assert list(named_above("FROM stations_slot", "stations", tables)) == []
