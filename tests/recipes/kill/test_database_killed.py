"""The database server itself is killed while a worker places 2,000 slots.

The tests' own server is shared, so this one starts a server of its own, with fsync on as in
earnest, and runs pytest inside. That takes minutes: only in `make soak`.
"""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest
from django.db import connection
from kombu import Connection

from embedded import cluster, postgres
from embedded.commands import temporary_folder
from embedded.folder import Folder
from embedded.process import Child
from embedded.stack import servers
from tests.recipes.kill import worker
from tests.recipes.kill.chain import Chain, check_whole
from tests.recipes.kill.running import sweep_until_complete, wait_for_a_batch, whole_run
from tests.services import rounds, soaking
from tests.tooling.listing import ROOT

INSIDE = "PORTALEDGER_KILL_FOLDER"  # the data folder of the server that may be killed
ROUNDS = rounds(10, 2)
HERE = f"{__file__}::test_inside"


@pytest.mark.skipif(not soaking() or INSIDE in os.environ, reason="only in `make soak`")
def test_the_database_server_is_killed(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("DATABASE_URL", "REDIS_URL", "TEST_DB_NAME", "PYTEST_XDIST_WORKER"):
        monkeypatch.delenv(name, raising=False)
    with temporary_folder("kill") as folder, servers(folder, mode="test") as stack:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-n0", "-p", "no:cacheprovider", HERE],
            cwd=ROOT,
            env={**os.environ, **stack.env, INSIDE: str(folder.path)},
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == 0, done.stdout[-5000:]
    assert "1 passed" in done.stdout


def kill_server(folder: Folder) -> None:
    """SIGKILL for the server and every process of it, as when the power fails."""
    data = cluster.prepare(folder).data
    main = psutil.Process(int((data / "postmaster.pid").read_text().splitlines()[0]))
    everyone = [main, *main.children(recursive=True)]
    for process in everyone:
        process.send_signal(signal.SIGKILL)
    psutil.wait_procs(everyone, timeout=30)
    connection.close()


def start_server(folder: Folder) -> Child:
    """It recovers from its log by itself."""
    return postgres.start(cluster.prepare(folder))


@pytest.mark.skipif(INSIDE not in os.environ, reason="run by the test above")
@pytest.mark.django_db(transaction=True)
@pytest.mark.usefixtures("quiet")
def test_inside(chain: Chain, link: Connection, tmp_path: Path) -> None:
    folder, chance = Folder(Path(os.environ[INSIDE])), random.Random(10)
    alive = worker.start(tmp_path / "worker.log")
    try:
        seconds = whole_run(chain, link)
        for number in range(ROUNDS):
            publication = chain.sign()
            worker.send(link, "run_publication", publication.pk)
            worker.wait_until_busy()
            if number == 0:
                wait_for_a_batch(publication)
            else:
                time.sleep(chance.uniform(0, seconds))
            kill_server(folder)
            start_server(folder)
            sweep_until_complete(publication, link)
            check_whole(chain, publication)
        assert alive.alive
    finally:
        alive.kill()
