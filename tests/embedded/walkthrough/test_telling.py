"""How the walkthrough tells what it saw, and that it can say no."""

import subprocess
import sys

import pytest

from embedded.walkthrough import browser
from embedded.walkthrough.browser import Stage
from embedded.walkthrough.page import Unexpected
from embedded.walkthrough.telling import Step, tell
from recipes.demo.people import MEMBERS, PASSWORD
from tests.tooling.listing import ROOT


def refuses(stage: Stage) -> str:
    raise Unexpected("the slot took it")


def loses(stage: Stage) -> str:
    raise ConnectionRefusedError("nobody there")


def needs(stage: Stage) -> str:
    return stage.kept["version"]


STEPS = (
    Step("Barista", "looks up", "the settings", lambda stage: "281 pulses"),
    Step("Shop lead", "sets a locked slot", "refused", refuses),
    Step("Owner", "reads", "an entry", loses),
    Step("Owner", "goes on", "an entry", needs),
)


def test_a_step_that_went_differently_is_told_and_counted(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert tell(STEPS, Stage(["http://127.0.0.1:1"])) == 3
    told = capsys.readouterr().out
    lines = [line for line in told.splitlines() if line.endswith((" ok", " NO"))]
    assert [line[-2:] for line in lines] == ["ok", "NO", "NO", "NO"]
    for words in ("the slot took it", "no answer: nobody there", "an earlier step left"):
        assert words in told
    assert "3 of 4 steps did NOT give what they must." in told


def test_its_sign_ins_are_the_demo_s() -> None:
    known = {member.email for member in MEMBERS}
    roasters = (browser.HEAD, browser.SECOND, browser.OWNER)
    keys = (*roasters, browser.LEAD, browser.OTHER_LEAD, browser.BARISTA)
    assert {browser.email(key) for key in keys} <= known
    assert browser.PASSWORD == PASSWORD


@pytest.mark.parametrize("addresses", [[], ["localhost"], ["http://127.0.0.1:1"]])
def test_an_address_that_can_not_be_walked_is_one_sentence(addresses: list[str]) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "embedded.walkthrough", *addresses],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert run.returncode == 2
    assert len(run.stderr.strip().splitlines()) == 1
