"""Signatures and notes against RFC 8032 and the published notes of the C2SP family."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.note import Signer, Verifier, open_note, read_note, sign_note

# RFC 8032 section 7.1, tests 1 to 3: from memory; the cryptography package confirms each.
RFC8032 = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e06522490155"
     "5fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
     "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac"
     "18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"),
]  # fmt: skip

# golang.org/x/mod sumdb/note, note.go and note_test.go (read there)
PETER_SECRET = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
PETER = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
PETER_NOTE = (
    "If you think cryptography is the answer to your problem,\n"
    "then you don't know what your problem is.\n"
    "\n"
    "\u2014 PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZ"
    "SNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
)


@pytest.mark.parametrize(("seed", "public", "message", "signature"), RFC8032)
def test_ed25519(seed: str, public: str, message: str, signature: str) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(seed))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    assert Signer("test", bytes.fromhex(seed)).verifier.public.hex() == public


def test_our_verifier_holds_the_ascii_vector() -> None:
    _, public, message, signature = RFC8032[1]
    text = bytes.fromhex(message).decode()
    key = Verifier("test", bytes.fromhex(public))
    assert key.holds(text, bytes.fromhex(signature))
    assert not key.holds(text + " ", bytes.fromhex(signature))


def test_the_published_note_opens_and_is_made_again_byte_for_byte() -> None:
    key = Verifier.read(PETER)
    text, signed = open_note(PETER_NOTE, [key])
    signer = Signer.read(PETER_SECRET)
    assert signed == [key]
    assert (key.text, signer.verifier, signer.secret_text) == (PETER, key, PETER_SECRET)
    assert sign_note(text, [signer]) == PETER_NOTE


def test_the_specification_s_note_parses_with_its_empty_line() -> None:
    # C2SP signed-note.md: the text holds an empty line, the last empty line separates
    note = (
        "Ognuno sta solo sul cuor della terra\ntrafitto da un raggio di sole:\n\n"
        "ed \u00e8 subito sera.\n\n"
        "\u2014 quasimodo.example/salvatore NnugSzTjtVAewIS+Z/iJhUPeFDkO/5QQ2i5ddnGITLlC+EhfLW9o"
        "JKONrMouFSQU0xMcXxj99ihAQwaqP3ZekRwNtIc=\n"
    )
    parsed = read_note(note)
    assert parsed.text.count("\n") == 4
    assert parsed.signatures[0][0] == "quasimodo.example/salvatore"
    assert len(parsed.signatures[0][2]) == 64


def test_the_specification_s_checkpoint_parses() -> None:
    # C2SP tlog-checkpoint.md
    state = read_checkpoint(
        "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n"
        "\u2014 example.com/behind-the-sofa Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4U"
        "RYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
    )
    assert (state.origin, state.size) == ("example.com/behind-the-sofa", 20_852_163)
