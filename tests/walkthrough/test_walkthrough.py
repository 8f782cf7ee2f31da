"""The main job on the whole stack: two web processes and three workers at once."""

import os
import re
import subprocess
import sys

import pytest

from config.walkthrough.script import STEPS
from tests.tooling.listing import ROOT

OWN = ("DATABASE_URL", "REDIS_URL", "PORTALEDGER_MODE", "SECRET_KEY", "DJANGO_SETTINGS_MODULE")
WALK = ["-m", "config.services", "walkthrough", "--web", "2", "--workers", "3"]


@pytest.fixture(scope="module")
def told() -> subprocess.CompletedProcess[str]:
    """What the run printed; it starts its own servers, as for a newcomer."""
    env = {
        name: value
        for name, value in os.environ.items()
        if name not in OWN and not name.startswith("PYTEST")
    }
    return subprocess.run(
        [sys.executable, *WALK],
        cwd=ROOT,
        env={**env, "COLUMNS": "150"},
        capture_output=True,
        text=True,
        timeout=580,
        check=False,
    )


def test_every_step_gives_what_it_must(told: subprocess.CompletedProcess[str]) -> None:
    assert told.returncode == 0, told.stdout + told.stderr
    assert f"All {len(STEPS)} steps gave what they must." in told.stdout
    assert not re.search(r" NO$", told.stdout, re.MULTILINE)


@pytest.mark.parametrize(
    "line",
    [
        "refused: Nobody approves what they drafted",
        "refused: “(not shown)”",
        "slots to place, 7 refused",
        "slots placed at 5 sites",
        "matches; off the list",
        "differs: water volume",
        "refused: A head roaster changes it",
        "already waits for this slot",
        "the slot is on permit",
        "404 for the slot",
        "placed by a worker",
    ],
)
def test_it_tells_what_happened(told: subprocess.CompletedProcess[str], line: str) -> None:
    rows = told.stdout.splitlines()
    column = slice(rows[0].index("what happened"), rows[0].index("what must happen"))
    # Cells are wrapped: join the column of what happened.
    assert line in " ".join(" ".join(row[column] for row in rows).split())


def test_both_web_processes_answered(told: subprocess.CompletedProcess[str]) -> None:
    shares = re.findall(r"http://127\.0\.0\.1:\d+ answered (\d+)", told.stdout)
    assert len(shares) == 2
    assert min(map(int, shares)) > 50
