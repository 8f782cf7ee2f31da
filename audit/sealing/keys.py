"""The signing key: its secret half in a file, its public half in the history.

The file is made at first start. Until a new key is in the history it waits beside the old one as
`….next`, so that a crash at any line leaves a file that fits the history.
"""

import hmac
import secrets
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import LiteralString

import psycopg
from django.conf import settings
from django.db import connection

from audit.capture.context import Actor, recorded
from audit.ledger.bundle.keys import MADE, ROTATED
from audit.ledger.errors import LedgerError
from audit.ledger.files import write_whole
from audit.ledger.note import Signer, Verifier
from audit.sealing.models import Checkpoint, LedgerKey
from audit.vocabulary import register


class SealingError(Exception):
    """Nothing is sealed until somebody has looked; the message says what is wrong."""


class KeyMissingError(SealingError):
    """The file with the signing key is not there, or holds another history's key."""


class DamagedError(SealingError):
    """The stored tree lacks a part or does not fit its last checkpoint."""


KEY_MADE = register(MADE, "Made signing key")
KEY_ROTATED = register(ROTATED, "Replaced signing key")


def key_file() -> Path:
    """Where the secret half is."""
    return Path(settings.LEDGER_KEY_FILE)


def next_file() -> Path:
    """Where a new one waits until the history knows it."""
    return key_file().with_name(key_file().name + ".next")


def verifiers() -> list[Verifier]:
    """Every public key that ever signed, in order; the first names the history."""
    known = LedgerKey.objects.order_by("id").values_list("public", flat=True)
    return [Verifier.read(public) for public in known]


def origin() -> str:
    """The history's own name, which no other has; empty before anything was sealed."""
    first = LedgerKey.objects.order_by("id").values_list("public", flat=True).first()
    return Verifier.read(first).name if first else ""


def signer() -> Signer:
    """The key that signs now; made and recorded at first use. Call under the sealers' lock.

    Raises KeyMissingError if the file is gone or does not hold the newest key of the history.
    """
    newest = LedgerKey.objects.order_by("-id").values_list("public", flat=True).first()
    if newest is None:
        return _first()
    for file in (key_file(), next_file()):
        key = read(file)
        if key and key.verifier.text == newest:
            if file == next_file():
                file.replace(key_file())
            return key
    raise KeyMissingError(
        f"{key_file()} does not hold the key that signs this history, {newest}. Put the file "
        "back, or replace a key that is lost with `manage.py rotate_ledger_key --lost`."
    )


def read(file: Path) -> Signer | None:
    """The key in a file, None if there is no such file. Raises KeyMissingError if it is no key."""
    try:
        return Signer.read(file.read_text("utf-8").strip())
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError, LedgerError) as error:
        raise KeyMissingError(f"{file} can't be read as a signing key: {error}") from error


def write(file: Path, key: Signer) -> None:
    """Write a key where there is none, whole or not at all, readable by this user only.

    Raises FileExistsError if another process was first.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    write_whole(file, [f"{key.secret_text}\n".encode()], anew=True)


def record(
    key: Signer,
    replaces: str,
    *,
    by: Actor | None,
    action: str,
    reason: str = "",
    proof: bytes | None = None,
) -> None:
    """Put the public half into the history, with proof of the key it replaces if there is one."""
    with recorded(by=by, action=action, reason=reason):
        by_signer("SELECT audit_keyed(%s, %s, %s)", [key.verifier.text, replaces, proof])


def by_signer(function: LiteralString, values: Sequence[object]) -> int:
    """Call a function that asks for the signer's proof; the id of the row it made, 0 for rows.

    Django writes values into the statement, where other sessions of the program's role read them
    (pg_stat_activity) and could use the proof after ending this one. Bound, they are not in it.
    """
    connection.ensure_connection()
    with connection.wrap_database_errors, psycopg.Cursor(connection.connection) as cursor:
        row = cursor.execute(function, values).fetchone()
    return int(row[0] or 0) if row else 0


def _shown(key: Signer, note: str) -> bytes:
    return hmac.digest(key.seed, b"Portaledger: append after\n" + note.encode(), "sha256")


def promise(key: Signer, note: str) -> bytes:
    """What a checkpoint with this note promises (32 bytes): the hash of what `key` proves next."""
    return sha256(_shown(key, note)).digest()


def proof_after(last: Checkpoint | None, key: Signer) -> bytes | None:
    """What proves to the database that whoever appends after that checkpoint has its key; None
    where none is asked for. Raises DamagedError if the row asks for something else."""
    if last is None or last.promise is None:
        return None
    if bytes(last.promise) != promise(key, last.note):
        raise DamagedError(
            f"The newest checkpoint's row, of {last.size:,} entries, asks for proof of another key "
            "than the one that signed it: the row was changed."
        )
    return _shown(key, last.note)


def _first() -> Signer:
    key = read(key_file())
    if key is None:
        key = Signer.new(f"{settings.LEDGER_NAME}/{secrets.token_hex(8)}")
        write(key_file(), key)
    record(key, "", by=None, action=KEY_MADE)
    return key
