"""The benchmark runs; its figures are for people, and no test depends on them."""

import json
import os
import subprocess
import sys
from pathlib import Path

from embedded.folder import BASE_DIR

KEYS = {"name", "rate", "unit", "ratio_to_limit", "ratio_to_peers", "machine"}
PEERS = {"django-pghistory", "django-simple-history", "django-auditlog", "django-reversion"}


def test_a_small_run_writes_every_line(tmp_path: Path) -> None:
    path = tmp_path / "rows.jsonl"
    worker = os.environ.get("PYTEST_XDIST_WORKER", "alone")
    subprocess.run(
        [sys.executable, "-m", "tests.benchmarks"],
        env={**os.environ, "SMALL": "1", "JSON": str(path), "TEST_DB_NAME": f"bench_{worker}"},
        cwd=BASE_DIR,
        check=True,
        timeout=900,  # so that one that hangs ends; busy machines take minutes
    )
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    assert all(line.keys() == KEYS and line["rate"] > 0 for line in lines)
    subjects = {line["name"].split(",")[0].split(" at ")[0] for line in lines}
    assert subjects >= {
        "sealing",
        "checking a bundle",
        "history",
        "board",
        "grid",
        "plan of a menu",
    }
    saved = next(line for line in lines if line["name"].startswith("audited save"))
    assert saved["ratio_to_peers"].keys() > PEERS
