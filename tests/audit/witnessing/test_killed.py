"""A witness process killed while it is offered checkpoints goes on, and takes nothing back."""

import random
from pathlib import Path
from threading import Timer

import pytest
from pytest_django import Settings

from audit.exporting.bundle import bundle
from audit.ledger.bundle.check import verify
from audit.ledger.witness.cosignature import WitnessKey
from audit.ledger.witness.known import KnownWitness
from audit.ledger.witness.state import read_state
from audit.sealing.keys import origin, verifiers
from audit.witnessing.models import WitnessEvent, WitnessEventKind
from audit.witnessing.offering import offer_newest
from audit.witnessing.standing import newest_seen
from tests.audit.ledger.witness.process import start
from tests.audit.sealed import last_checkpoint
from tests.audit.witnessing.conftest import history, sealed
from tests.services import rounds

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("sample_tables", "only_ours")]


def test_killed_at_any_moment_it_never_saw_less_than_is_kept_here(
    settings: Settings, tmp_path: Path
) -> None:
    history(3)
    folder, cosigned = tmp_path / "witness", 0
    settings.LEDGER_WITNESSES_NEEDED = 1
    for _ in range(rounds(40, 4)):
        process = start(folder, verifiers())
        known = KnownWitness(WitnessKey.read(process.key), process.url)
        settings.LEDGER_WITNESSES = [known]
        ends = Timer(random.uniform(0.0, 0.15), process.process.kill)
        ends.start()
        for _ in range(4):
            history(2)
            cosigned += offer_newest()
        ends.join()
        process.kill()
        seen, stands = newest_seen(known), read_state(folder).get(origin())
        assert (stands.size if stands else 0) >= (seen.size if seen else 0)
    process = start(folder, verifiers())
    settings.LEDGER_WITNESSES = [KnownWitness(WitnessKey.read(process.key), process.url)]
    history(2)
    assert offer_newest() == 1, "it goes on from wherever it stands"
    assert process.stop() == 0
    assert not WitnessEvent.objects.filter(kind=WitnessEventKind.REFUSED).exists()
    size = last_checkpoint().size
    sealed()
    report = verify(bundle(), keys=verifiers(), witnesses=[known.key])
    assert (report.intact, report.witnessed) == (True, size)
