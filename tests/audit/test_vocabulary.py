"""The web process knows every action: what only workers and commands do has its words as well."""

import json
import os
import re
import subprocess
import sys

from tests.tooling.listing import ROOT, our_files

REGISTERED = re.compile(r'\bregister\(\s*"([a-z_]+\.[a-z_]+)",')
ASK = """
import json, django
django.setup()
import config.urls
from audit.vocabulary import ACTIONS
print(json.dumps(sorted(ACTIONS)))
"""


def _known() -> set[str]:
    """As of a process that imports what pages need and nothing else."""
    mode = {"DJANGO_SETTINGS_MODULE": "config.settings", "PORTALEDGER_MODE": "test"}
    asked = subprocess.run(
        [sys.executable, "-c", ASK], cwd=ROOT, env=os.environ | mode,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(json.loads(asked.stdout.splitlines()[-1]))


def test_every_action_registered_anywhere_has_words_on_pages() -> None:
    ours = [p for p in our_files("*.py") if p.relative_to(ROOT).parts[0] != "tests"]
    registered = {code for path in ours for code in REGISTERED.findall(path.read_text())}
    assert len(registered) > 60
    assert registered - _known() == set()
