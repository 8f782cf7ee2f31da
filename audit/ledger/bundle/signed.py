"""Signatures by passkey, proven from the entries alone: each with its answer and its key.

The history records every signature, what the passkey answered and when each key came and went as
rows of governed tables. So a bundle carries them, sealed like all else, and no server is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from audit.ledger.bundle.report import Kind, Report, plain
from audit.ledger.canonical import read_object
from audit.ledger.errors import LedgerError
from audit.ledger.passkeys import Assertion, Key, PasskeyError, require_proof

SIGNATURES, ANSWERS, KEYS = "people_signature", "people_assertion", "people_keyevent"
PASSKEY = "passkey"
_NEAR = b'"table_name":"people_'
_TABLES = tuple(f'"table_name":"{table}"'.encode() for table in (SIGNATURES, ANSWERS, KEYS))


@dataclass(frozen=True, slots=True)
class Row:
    """One row as its entry gives it; `number` is the entry's, from 1."""

    number: int
    row_id: int
    columns: Mapping[str, Any]
    actor: str
    by_hand: bool  # not by its person's own act, nor when its history began

    @property
    def at(self) -> datetime:
        """The row's own time."""
        return datetime.fromisoformat(self.columns["at"])


class Signed:
    """What was met of them in one pass over a history and its archives, and the judgement."""

    def __init__(self) -> None:
        self._rows: dict[str, dict[int, Row]] = {SIGNATURES: {}, ANSWERS: {}, KEYS: {}}
        self._changed: list[tuple[int, str, int]] = []

    def look(self, entries: Sequence[bytes], first: int) -> None:
        """Take note of those among entries (lines), the first of which is number `first`."""
        for number, line in enumerate(entries, first):
            if _NEAR in line and any(table in line for table in _TABLES):
                self._take(number, line)

    def _take(self, number: int, line: bytes) -> None:
        try:
            entry = read_object(line)
            table = str(entry["table_name"])
            if entry["operation"] != "created":
                self._changed.append((number, table, int(entry["row_id"])))
                return
            columns = {name: pair[1] for name, pair in entry["changes"].items()}
            own = entry["actor_id"] == columns.get("user_id") or entry["action"] == "passkeys.noted"
            row_id = int(entry["row_id"])
            self._rows[table][row_id] = Row(number, row_id, columns, str(entry["actor"]), not own)
        except (LedgerError, KeyError, ValueError, TypeError, IndexError, AttributeError):
            return  # an entry that can't be read, or of another table: told by the check of entries

    def judge(self, report: Report) -> None:
        """Add to the report which signatures by passkey do not prove themselves."""
        for number, table, row_id in self._changed:
            # Signatures from before there were passkeys were given other words once.
            signed = self._rows[SIGNATURES].get(row_id)
            if table == SIGNATURES and not (signed and _is_by_passkey(signed)):
                continue
            words = f"a row of {table} was changed: none ever is"
            report.add(Kind.SIGNATURE, f"entry no. {number:,}: {words}", number, number)
        given = [row for row in self._rows[SIGNATURES].values() if _is_by_passkey(row)]
        uses = Counter(row.columns.get("assertion_id") for row in given)
        proven = unseen = 0
        for row in given:
            try:
                if uses[row.columns.get("assertion_id")] > 1:
                    raise PasskeyError("the same answer stands under another signature")
                proven += self._proves(row)
            except KeyError:
                unseen += 1
                if report.left_out <= report.looked_at:
                    _tell(report, row, "its answer or its key is not in this history")
            except PasskeyError as error:
                _tell(report, row, str(error))
        if proven:
            words = "prove themselves by the keys in this history"
            report.add(Kind.NOTE, f"signatures by passkey: {proven:,} {words}")
        if unseen and report.left_out > report.looked_at:
            words = "lean on entries left out here and are not proven by this file"
            report.add(Kind.NOTE, f"signatures by passkey: {unseen:,} {words}")
        self._keys_by_hand(report)

    def _proves(self, row: Row) -> bool:
        """True. Raises PasskeyError, and KeyError where a part of it is not here."""
        answer = self._rows[ANSWERS][row.columns["assertion_id"]].columns
        key = self._rows[KEYS][answer["key_id"]]
        try:
            said = {name: row.columns[name] for name in _SAID} | {
                "signer": row.columns["user_id"],
                "subject_id": int(row.columns["subject_id"]),
            }
            kept = Assertion(
                answer["statement"], answer["authenticator_data"], answer["client_data"],
                answer["signature"],
            )  # fmt: skip
            if key.columns["event"] != "added":
                raise PasskeyError("nothing says that the passkey was added")
            require_proof(said, row.at, kept, self._until(key))
        except (KeyError, ValueError, TypeError) as error:
            if isinstance(error, PasskeyError):
                raise
            raise PasskeyError("what is kept of it can't be read") from None
        return True

    def _until(self, key: Row) -> Key:
        """The key with the moment it was removed, if it was."""
        columns = key.columns
        known = Key(columns["user_id"], columns["attestation"], key.at)
        ends = [
            row.at
            for row in self._rows[KEYS].values()
            if row.row_id > key.row_id
            and row.columns["event"] == "removed"
            and row.columns["factor_id"] == columns["factor_id"]
            and row.columns["credential"] == columns["credential"]
        ]
        return replace(known, until=min(ends)) if ends else known

    def _keys_by_hand(self, report: Report) -> None:
        for row in self._rows[KEYS].values():
            if row.by_hand and row.columns.get("event") == "added":
                words = f"the passkey “{plain(row.columns.get('label', ''))}” of person "
                words += f"{row.columns.get('user_id')} was added by “{plain(row.actor)}”"
                report.add(Kind.NOTE, words, row.number, row.number)


_SAID = ("name", "role", "meaning", "digest", "subject_type", "note")


def _is_by_passkey(row: Row) -> bool:
    return row.columns.get("manner") == PASSKEY or "assertion_id" in row.columns


def _tell(report: Report, row: Row, why: str) -> None:
    name, meaning = (plain(row.columns.get(part, "?")) for part in ("name", "meaning"))
    words = f"entry no. {row.number:,}: the signature of {name} ({meaning}) is NOT proven: {why}"
    report.add(Kind.SIGNATURE, words, row.number, row.number)
