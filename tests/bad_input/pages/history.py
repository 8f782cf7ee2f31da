"""Checks of the history."""

from audit.ledger.checkpoint import Checkpoint
from audit.ledger.note import Signer
from tests.bad_input.form import Form

SIGNER = Signer("cafe/1", b"\x07" * 32)
NOTE = Checkpoint("cafe/1", 3, bytes(32)).signed([SIGNER])
KEY = SIGNER.verifier.text
NO_NOTES = ["nonsense", NOTE.replace("3", "-3"), NOTE.partition("\n")[2], KEY]
NO_KEYS = ["nonsense", KEY[:-2], NOTE, f"PRIVATE+KEY+{KEY}"]

HISTORY = [
    Form("reconciliations", "owner", lambda t: {}),
    Form("intact", "owner", lambda t: {"since": NOTE, "key": KEY}, empty=True,
         also={"since": NO_NOTES, "key": NO_KEYS}),
]  # fmt: skip
