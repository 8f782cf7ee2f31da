"""A checkpoint as people hand it back: pasted, from a file, or with the mail it came in."""

import re

from audit.errors import Invalid
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import Verifier

LONGEST = 20_000  # characters: a note has a few hundred, the mail around it not many more
DASHES = re.compile(r"^-{20,}$", re.MULTILINE)
NOTE = "the text of a checkpoint: origin, number, root, a blank line and its signature"


def note_in(text: str) -> str:
    """The note in a text: without the mail above its dashes, ending as a note ends.

    Empty for an empty text. Raises Invalid (since) for one that holds no checkpoint.
    """
    plain = text.replace("\r\n", "\n")
    note = DASHES.split(plain)[-1].strip("\n \t")
    if not note:
        return ""
    try:
        read_checkpoint(note + "\n")
    except LedgerError:
        raise Invalid("since", note, NOTE) from None
    return note + "\n"


def key_in(text: str) -> str:
    """A signing key as somebody wrote it down. Raises Invalid (key)."""
    written = text.strip()
    if written:
        try:
            Verifier.read(written)
        except LedgerError:
            raise Invalid("key", written, "a public key: name+id+base64, on one line") from None
    return written
