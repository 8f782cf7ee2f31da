"""The witness against what is published of C2SP tlog-witness and tlog-cosignature."""

from base64 import b64decode
from collections.abc import Iterator
from pathlib import Path

import pytest

from audit.ledger.note import DASH, Verifier, read_note
from audit.ledger.witness.cosignature import time_of
from audit.ledger.witness.protocol import read_offer
from audit.ledger.witness.service import WitnessService
from audit.ledger.witness.state import Folder
from tests.audit.ledger.witness.independent import cosigned_at, signed_by

# C2SP tlog-witness.md, "Example request body" (read there)
REQUEST = f"""\
old 20852014
PlRNCrwHpqhGrupue0L7gxbjbMiKA9temvuZZDDpkaw=
jrJZDmY8Y7SyJE0MWLpLozkIVMSMZcD5kvuKxPC3swk=
5+pKlUdi2LeF/BcMHBn+Ku6yhPGNCswZZD1X/6QgPd8=
/6WVhPs2CwSsb5rYBH5cjHV/wSmA79abXAwhXw3Kj/0=

example.com/behind-the-sofa
20852163
CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=

{DASH} example.com/behind-the-sofa \
Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=
{DASH} example.com/behind-the-sofa \
opLqBQsREYCgu6xQkYQwJr9fo45a62DN9EdmHXnZdXNqlcVGlCum2Wks+49/V6267UEjw6QUXTS5Rovnzv++qbSzm9Q=
"""

# C2SP tlog-cosignature.md, the example's line and "Ed25519 signed message" (read there)
COSIGNED = (
    "jWbPPwAAAABkGFDLEZMHwSRaJNiIDoe9DYn/zXcrtPHeolMI5OWXEhZCB9dlrDJsX3b2oyin1nPZqhf5nNo0xUe+"
    "mbIUBkBIfZ+qnA=="
)

# filippo.io/torchwood, internal/witness/witness_test.go, TestRace (read there): a log's public key,
# and three offers that another implementation of a witness takes. No leaf of it is known.
ORIGIN = "sigsum.org/v1/tree/4d6d8825a6bb689d459628312889dfbb0bcd41b5211d9e1ce768b0ff0309e562"
PUBLIC = "ffdc2d4d98e4124d3feaf788c0c2f9abfd796083d1f0495437f302ec79cf100f"
TO_ONE = f"""\
old 0

{ORIGIN}
1
KgAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=

{DASH} {ORIGIN} \
UgIom7fPZTqpxWWhyjWduBvTvGVqsokMbqTArsQilegKoFBJQjUFAmQ0+YeSPM3wfUQMFSzVnnNuWRTYrajXpNUbIQY=
"""
TO_THREE = f"""\
old 1
KgEAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=
KgIAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=

{ORIGIN}
3
RcCI1Nk56ZcSmIEfIn0SleqtV7uvrlXNccFx595Iwl0=

{DASH} {ORIGIN} \
UgIom2VbtIcdFbwFAy1n7s6IkAxIY6J/GQOTuZF2ORV39d75cbAj2aQYwyJre36kezNobZs4SUUdrcawfAB8WVrx6go=
"""
TO_FIVE = f"""\
old 1
KgEAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=
+fUDV+k970B4I3uKrqJM4aP1lloPZP8mvr2Z4wRw2LI=
KgQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=

{ORIGIN}
5
QrtXrQZCCvpIgsSmOsah7HdICzMLLyDfxToMql9WTjY=

{DASH} {ORIGIN} \
UgIomw/EOJmWi0i1FQsOj+etB7F8IccFam/jgd6wzRns4QPVmyEZtdvl1U2KEmLOZ/ASRcWJi0tW90dJWAShei7sDww=
"""


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Folder]:
    made = Folder(tmp_path / "witness")
    yield made
    made.close()


def test_the_specification_s_request_reads() -> None:
    offer = read_offer(REQUEST)
    assert (offer.old, len(offer.proof), offer.text) == (20_852_014, 4, REQUEST)
    assert len(read_note(offer.checkpoint).signatures) == 2


def test_the_specification_s_cosignature_is_of_its_time() -> None:
    raw = b64decode(COSIGNED)
    assert raw[:4].hex() == "8d66cf3f"
    assert time_of(raw[4:]) == 1_679_315_147


def test_a_published_time() -> None:
    # transparency-dev/formats, note/note_cosigv1_test.go, TestCoSigV1Timestamp (read there)
    published = (
        "ZGhGuQAAAABm/qTPeyKXD+R2rzyQsxPiP8mXum7qq/iF0u4vanlqJyocWODBt97w9uL+8qT7S5gxEHWWOworDcFiEBYJ"
        "XORmnFBOBA=="
    )
    assert time_of(b64decode(published)[4:]) == 1_727_964_367
    plain = (
        "eQjRQm6eSKzFoiYalgwCPXu2y3ijtg68is9M46JKxuZB+dRfTmeQeDBoXnvx"
        "Zx2ugnkyV+MUMLXpWs1hPb/W/4xkNQY="
    )
    assert time_of(b64decode(plain)[4:]) is None


@pytest.mark.parametrize(
    ("offer", "other", "size"), [(TO_THREE, TO_FIVE, 3), (TO_FIVE, TO_THREE, 5)]
)
def test_the_published_offers_are_taken_in_turn(
    folder: Folder, offer: str, other: str, size: int
) -> None:
    service = WitnessService(folder, [Verifier(ORIGIN, bytes.fromhex(PUBLIC))])
    for body in (TO_ONE, offer):
        answer = service.answer(body.encode())
        assert answer.status == 200
        told = body.partition("\n\n")[2].rpartition("\n\n")[0] + "\n"
        assert cosigned_at(folder.cosigner.verifier.text, told, answer.body)
    again = service.answer(other.encode())
    assert (again.status, again.size) == (409, size)


def test_the_second_witness_reads_the_published_log_too() -> None:
    note = read_note(TO_FIVE.partition("\n\n")[2])
    (_, _, signature) = note.signatures[0]
    assert signed_by(bytes.fromhex(PUBLIC), signature, note.text.encode())
