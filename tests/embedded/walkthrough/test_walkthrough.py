"""The main job on the whole stack: two web processes and three workers at once."""

import os
import re
import subprocess
import sys

from embedded.walkthrough.script import STEPS
from tests.tooling.listing import ROOT

OWN = ("DATABASE_URL", "REDIS_URL", "PORTALEDGER_MODE", "SECRET_KEY", "DJANGO_SETTINGS_MODULE")
WALK = ["-m", "embedded", "walkthrough", "--web", "2", "--workers", "3"]
TOLD = (
    "refused: Nobody approves what they drafted",
    "refused: What was typed can't be used",
    "refused: no pressure stages there",
    "slots placed at 5 sites",
    "matches; off the list",
    "differs: water volume",
    "refused: A head roaster changes it",
    "already waits for this slot",
    "the slot is on permit",
    "404 for the slot",
    "placed by a worker",
)


def walk() -> subprocess.CompletedProcess[str]:
    """The run, with servers of its own, as for a newcomer."""
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


# One test: the stack takes its time to start, and parallel runs would each start it.
def test_every_step_gives_what_it_must() -> None:
    run = walk()
    assert run.returncode == 0, run.stdout + run.stderr
    assert f"All {len(STEPS)} steps gave what they must." in run.stdout
    assert not re.search(r" NO$", run.stdout, re.MULTILINE)
    rows = run.stdout.splitlines()
    column = slice(rows[0].index("what happened"), rows[0].index("what must happen"))
    # Cells are wrapped: join the column of what happened.
    told = " ".join(" ".join(row[column] for row in rows).split())
    assert [line for line in TOLD if line not in told] == []
    shares = re.findall(r"http://127\.0\.0\.1:\d+ answered (\d+)", run.stdout)
    assert len(shares) == 2
    assert min(map(int, shares)) > 50, "both web processes took part"
