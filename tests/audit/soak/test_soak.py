"""Thousands of random tamperings: what is not found is exactly what the threat model says."""

import random
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from audit.reconciling.baseline import extend_baseline
from audit.reconciling.structure import note_structure
from audit.retention.archive import archive_before
from audit.sealing.keys import verifiers
from audit.sealing.rotate import rotate
from audit.sealing.seal import seal
from audit.witnessing.offering import offer_newest
from people.persons.models import User
from people.signatures.models import Signature
from recipes.publishing import run
from tests.audit.months import begin_in, roll_at
from tests.audit.sealed import last_checkpoint, shelves
from tests.audit.soak import sealed_ways, table_ways, unsealed_ways
from tests.audit.soak.detectors import (
    NOT_FOUND,
    OUTSIDE,
    Outside,
    beside_the_key,
    differences,
    outcome,
)
from tests.audit.soak.hands import Hands, NothingDoneError, Roles, Who, roles
from tests.audit.soak.known import Cell, not_found
from tests.audit.soak.ways import WAYS, Way
from tests.audit.witnessing.conftest import Starter, offered_at_once, start_witness
from tests.publishing import quiet, send
from tests.services import rounds, soaking

__all__ = [
    "offered_at_once", "quiet", "sealed_ways", "send", "start_witness", "table_ways",
    "unsealed_ways",
]  # fmt: skip
pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("one_partition", "quiet"),
]


@dataclass(frozen=True)
class Scene:
    """A deployment with a history of some months, and what its owner keeps outside."""

    roles: Roles
    outside: Outside
    folder: Path


def seal_all() -> None:
    while seal():
        pass


@pytest.fixture
def scene(
    one_partition: None,
    request: pytest.FixtureRequest,
    key_file: Path,
    tmp_path: Path,
    start_witness: Starter,
) -> Iterator[Scene]:
    """A month archived; a recipe approved and published in the open one; a key replaced."""
    begin_in("2021-01")
    for batch in (3, 9):
        shelves(batch)
        seal_all()
    roll_at("2021-02")
    archives = tmp_path / "archives"
    archives.mkdir()
    archive_before(by=None, month="2021-02", folder=archives, reason="a year is over")
    run.run(request.getfixturevalue("send")().pk)
    extend_baseline()
    note_structure()
    seal_all()
    rotate(by=None, lost=False, reason="a year is over")
    seal_all()
    shelves(7)
    seal_all()
    User.objects.filter(name="Barista").update(name="Head barista")
    seal_all()
    for batch in (1, 5, 4):
        shelves(batch)
        seal_all()
    files = {file.name: file.read_bytes().splitlines(keepends=True) for file in archives.iterdir()}
    with roles() as made:
        key, note, witness = verifiers()[0], last_checkpoint().note, start_witness()
        assert offer_newest() == 1
        outside = Outside(key, note, files, witness, differences())
        yield Scene(made, outside, key_file.parent)


def cells() -> list[tuple[Way, Who, str]]:
    """Every way by every hand."""
    return [(way, who, key) for way in WAYS for who, key in way.hands()]


def test_what_is_not_found_is_what_the_threat_model_says(
    scene: Scene, capsys: pytest.CaptureFixture[str]
) -> None:
    assert Signature.objects.count() >= 2
    found: dict[Cell, Counter[str]] = defaultdict(Counter)
    count, number = 0, 0
    while count < rounds(3_200, len(cells())):
        way, who, key = cells()[number % len(cells())]
        hands = Hands(who, key, scene.roles, random.Random(number))
        number += 1
        try:
            with beside_the_key(scene.folder):
                told = outcome(way, hands, scene.outside)
        except NothingDoneError:
            assert number < 10 * (count + 100), way.words
            continue
        count += 1
        for kept, by in told.items():
            found[Cell(way.words, who, key, kept)][by] += 1
    if soaking():
        with capsys.disabled():
            print(table(found, count))
    missed = {cell for cell, by in found.items() if by[NOT_FOUND]}
    assert missed == not_found()
    # And none of those is found only at times: the document would promise too little.
    assert {cell: by for cell, by in found.items() if by[NOT_FOUND] and len(by) > 1} == {}


def table(found: dict[Cell, Counter[str]], count: int) -> str:
    """Every way by every hand, and who found it with what kept outside: for a terminal."""
    lines = [f"\n{count:,} tamperings; who found them with nothing, checkpoint, witness outside:"]
    for way, who, key in cells():
        columns = [
            ", ".join(
                f"{by} {times}"
                for by, times in sorted(found[Cell(way.words, who, key, kept)].items())
            )
            for kept in OUTSIDE
        ]
        told = columns[0] if len(set(columns)) == 1 else " | ".join(columns)
        lines.append(f"{way.words}; {who}, {key} the key: {told}")
    return "\n".join(lines)
