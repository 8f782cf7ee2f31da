"""The owner's browser remembers the last checkpoint it saw, and tells when history is another."""

from pathlib import Path

import pytest
from django.utils.timezone import now
from playwright.sync_api import Page
from pytest_django import Settings

from audit.ledger.note import read_note
from audit.ledger.witness.cosignature import Cosigner
from audit.ledger.witness.known import KnownWitness
from audit.sealing.models import Checkpoint
from audit.sealing.seal import seal
from audit.witnessing.models import Cosignature, WitnessEvent, WitnessEventKind
from stations.equipment.models import Site
from tests.audit.sealed import unguarded
from tests.browser.conftest import OpenPage
from tests.browser.looking import axe, fits
from tests.cast import Cast

KINDS = {
    "laps": WitnessEventKind.COSIGNS,
    "desk": WitnessEventKind.REFUSED,
    "hall": WitnessEventKind.SILENT,
}


def sealed(name: str) -> None:
    Site.objects.create(code=name, name=name, time_zone="Europe/Lisbon", altitude=3)
    while seal():
        pass


def told(page: Page) -> str:
    """The one sentence that is shown."""
    page.wait_for_selector("[data-ledger-state=off]", state="hidden")
    return page.locator("p[data-ledger-state]:visible").inner_text()


@pytest.mark.django_db(transaction=True)
def test_a_browser_that_saw_a_checkpoint_tells_what_became_of_it(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    sealed("one")
    page = open_page(cast.owner, "/history/ledger/", screen="desk")
    assert "now keeps the checkpoint" in told(page)
    axe(page)
    fits(page)
    for name in ("two", "three", "four", "five"):
        sealed(name)
        page.reload()
        assert "still there, unchanged" in told(page)
    unguarded("UPDATE audit_checkpoint SET root = sha256('') WHERE id ="
              " (SELECT max(id) FROM audit_checkpoint)")  # fmt: skip
    page.reload()
    assert "does not follow from it" in told(page)
    page.reload()  # it does not forget what it kept
    assert "does not follow from it" in told(page)
    axe(page)


@pytest.mark.django_db(transaction=True)
def test_without_javascript_it_says_what_to_do_instead(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    sealed("one")
    page = open_page(cast.owner, "/history/ledger/", screen="phone", script=False)
    sentence = page.locator("[data-ledger-state=off]")
    assert sentence.is_visible()
    assert "This needs JavaScript" in sentence.inner_text()
    assert not page.locator("[data-ledger-state=holds]").is_visible()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize(("screen", "scheme"), [("desk", "light"), ("phone", "dark")])
def test_witnesses_with_what_each_saw(
    open_page: OpenPage, cast: Cast, settings: Settings, tmp_path: Path, screen: str, scheme: str
) -> None:
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    sealed("one")
    cosigners = [Cosigner(f"{name}.example/witness", name.encode() * 8) for name in KINDS]
    settings.LEDGER_WITNESSES = [
        KnownWitness(one.verifier, "http://127.0.0.1:9") for one in cosigners
    ]
    settings.LEDGER_WITNESSES_NEEDED = 2
    newest = Checkpoint.objects.latest("id")
    for cosigner, kind in zip(cosigners, KINDS.values(), strict=True):
        key = cosigner.verifier.text
        line = cosigner.sign(read_note(newest.note).text)
        if kind == WitnessEventKind.COSIGNS:
            Cosignature.objects.create(
                checkpoint_id=newest.pk, size=newest.size, witness=key, line=line, at=now()
            )
        WitnessEvent.objects.create(kind=kind, witness=key, words="It said so.")
    page = open_page(cast.owner, "/history/ledger/", screen=screen, scheme=scheme)
    told = page.locator("#witnesses").inner_text()
    assert "To be seen by 2 of 3 witnesses." in told
    assert all(word in told for word in ("Cosigns", "Refuses", "Silent"))
    axe(page)
    fits(page)
