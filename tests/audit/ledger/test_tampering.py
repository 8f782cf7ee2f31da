"""Random tampering with a bundle: every one found with a kept checkpoint; what is not, is said."""

import os
import random
from collections.abc import Callable

import pytest

from audit.ledger.bundle.check import verify
from audit.ledger.bundle.report import Kind
from audit.ledger.merkle import leaf_hash
from audit.ledger.note import Signer
from tests.audit.ledger.histories import KEY, ORIGIN, History, entry, sealed

TRIALS = 2000 if os.environ.get("SOAK") else 120
Lines = list[bytes]
HISTORY = sealed(40, 300, 1, 120, 60)


def entries(lines: Lines) -> list[int]:
    return [at for at, line in enumerate(lines) if line.startswith(b"{")]


def flip_a_bit(lines: Lines, chance: random.Random) -> Lines:
    raw = bytearray(b"".join(lines))
    raw[chance.randrange(len(raw))] ^= 1 << chance.randrange(8)
    return bytes(raw).splitlines(keepends=True)


def edit_a_value(lines: Lines, chance: random.Random) -> Lines:
    at = chance.choice(entries(lines))
    lines[at] = lines[at].replace(b'.5"]', b'.6"]')
    return lines


def delete(lines: Lines, chance: random.Random) -> Lines:
    del lines[chance.randrange(len(lines))]
    return lines


def insert(lines: Lines, chance: random.Random) -> Lines:
    lines.insert(chance.randrange(len(lines) + 1), entry(chance.randrange(9000)) + b"\n")
    return lines


def swap(lines: Lines, chance: random.Random) -> Lines:
    a, b = chance.sample(range(len(lines)), 2)
    lines[a], lines[b] = lines[b], lines[a]
    return lines


def truncate(lines: Lines, chance: random.Random) -> Lines:
    return lines[: chance.randrange(len(lines))]


def doctored(history: History, chance: random.Random) -> History:
    """A copy with one entry changed and every hash after it worked out anew."""
    made = History(list(history.payloads), list(history.hashes), dict(history.nodes),
                   list(history.checkpoints))  # fmt: skip
    at = chance.randrange(len(made.payloads))
    made.payloads[at] = entry(9000 + at)
    made.hashes[at] = leaf_hash(made.payloads[at])
    return made


def rebuild_without_the_key(_: Lines, chance: random.Random) -> Lines:
    return doctored(HISTORY, chance).bundle()


def rebuild_with_another_key(_: Lines, chance: random.Random) -> Lines:
    other = Signer(ORIGIN, b"\x66" * 32)
    return resigned(doctored(HISTORY, chance), [other])


def rebuild_with_the_stolen_key(_: Lines, chance: random.Random) -> Lines:
    return resigned(doctored(HISTORY, chance), [KEY])


def cut_at_a_checkpoint(_: Lines, chance: random.Random) -> Lines:
    keep = chance.randrange(1, 5)
    sizes = [40, 340, 341, 461]
    short = History(HISTORY.payloads[: sizes[keep - 1]], HISTORY.hashes[: sizes[keep - 1]],
                    HISTORY.nodes, HISTORY.checkpoints[:keep])  # fmt: skip
    return short.bundle()


def resigned(history: History, signers: list[Signer]) -> Lines:
    made = History(signers=signers)
    for at in (40, 340, 341, 461, 521):
        taken = slice(len(made.hashes), at)
        made.payloads += history.payloads[taken]
        made.hashes += history.hashes[taken]
        made.seal(0)
    return made.bundle()


WAYS: list[Callable[[Lines, random.Random], Lines]] = [
    flip_a_bit, edit_a_value, delete, insert, swap, truncate, rebuild_without_the_key,
    rebuild_with_another_key, rebuild_with_the_stolen_key, cut_at_a_checkpoint,
]  # fmt: skip


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__)
def test_every_tampering_is_found_given_the_last_checkpoint(
    way: Callable[[Lines, random.Random], Lines],
) -> None:
    whole = HISTORY.bundle()
    for trial in range(TRIALS // len(WAYS)):
        lines = way(list(whole), random.Random(f"{way.__name__} {trial}"))
        if lines == whole:
            continue
        report = verify(lines, keys=[KEY.verifier], since=HISTORY.checkpoints[-1:])
        assert not report.intact, (way.__name__, trial)
        assert report.damaged
        assert any(one.kind is not Kind.NOTE and one.words for one in report.findings)


@pytest.mark.parametrize("way", [rebuild_with_the_stolen_key, cut_at_a_checkpoint])
def test_what_can_not_be_found_without_an_outside_checkpoint(
    way: Callable[[Lines, random.Random], Lines],
) -> None:
    # Said in the threat model: these two give a history as good as the true one.
    assert verify(way([], random.Random(1)), keys=[KEY.verifier]).intact


def test_a_replaced_key_is_found_by_the_key_written_down_or_the_kept_checkpoint() -> None:
    lines = rebuild_with_another_key([], random.Random(2))
    assert not verify(lines, keys=[KEY.verifier]).intact
    # Without either the bundle would be believed were its first key the forger's own.
    assert not verify(lines, since=HISTORY.checkpoints[-1:]).intact
