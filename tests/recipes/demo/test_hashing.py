"""The demo's password: stretched as strongly as any, but once."""

from collections import Counter

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher, check_password, make_password
from pytest_django.fixtures import Settings

from recipes.demo.hashing import stretched_once

STRONG = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]


@pytest.fixture
def stretched(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each password was really stretched."""
    settings.PASSWORD_HASHERS = STRONG
    told, really = Counter[str](), PBKDF2PasswordHasher.encode

    def encode(
        self: PBKDF2PasswordHasher, password: str, salt: str, iterations: int | None = None
    ) -> str:
        told[password] += 1
        return str(really(self, password, salt, iterations))

    monkeypatch.setattr(PBKDF2PasswordHasher, "encode", encode)
    return told


def test_everybody_and_every_signature_costs_one_stretching(stretched: Counter[str]) -> None:
    with stretched_once():
        hashes = [make_password("of the demo, once") for _ in range(3)]
        assert all(check_password("of the demo, once", each) for each in hashes)
        assert not check_password("another", hashes[0])
    assert stretched == {"of the demo, once": 1, "another": 1}


def test_what_it_leaves_is_as_strong_as_any_and_needs_no_hashing_anew(settings: Settings) -> None:
    settings.PASSWORD_HASHERS = STRONG
    with stretched_once():
        made = make_password("of the demo")
    anew: list[str] = []
    assert check_password("of the demo", made, anew.append)
    assert anew == []
    assert int(made.split("$")[1]) == PBKDF2PasswordHasher.iterations
    assert settings.PASSWORD_HASHERS == STRONG
    assert make_password("of the demo").split("$")[2] != made.split("$")[2]
