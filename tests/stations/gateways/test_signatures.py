"""Signed requests: RFC 9421's own example, and everything that is refused, each with its type."""

import base64
import secrets
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from http_message_signatures import HTTPMessageVerifier, InvalidSignature, algorithms

from audit.errors import Invalid
from stations.gateways.actions import revoke_gateway
from stations.gateways.keys import encoded, key_of, read_jwk, thumbprint_of
from stations.gateways.signatures import COVERED, Message, _Keys
from tests.cast import Cast
from tests.stations.conftest import Bar
from tests.stations.gateways.box import API, Box, enrolled

# RFC 9421, Appendix B.1.4 (public key), B.2 (request) and B.2.6 (signature).
X = "JrQLj5P_89iXES9-vFgrIy29clF9CC_oPPsw3c5D0bs"
EXAMPLE = Message(
    "POST",
    "https://example.com/foo?param=Value&Pet=dog",
    {
        "Host": "example.com",
        "Date": "Tue, 20 Apr 2021 02:07:55 GMT",
        "Content-Type": "application/json",
        "Content-Length": "18",
        "Signature-Input": 'sig-b26=("date" "@method" "@path" "@authority" "content-type"'
        ' "content-length");created=1618884473;keyid="test-key-ed25519"',
        "Signature": "sig-b26=:wqcAqbmYJ2ji2glfAMaRy4gruYYnx2nEFN2HN6jrnDnQCK1"
        "u02Gb04v9EDgwUPiu4A0w6vuQv5lIp5WPpBKRCw==:",
    },
)


class _AnyAge(HTTPMessageVerifier):
    allow_label_only_selection = True


def verified(message: Message) -> Any:  # noqa: ANN401
    """What the library makes of it, with our keys."""
    verifier = _AnyAge(
        signature_algorithm=algorithms.ED25519,
        key_resolver=_Keys(lambda name: key_of(X) if name == "test-key-ed25519" else None),
    )
    with pytest.warns(UserWarning, match="label"):
        return verifier.verify(message, max_age=None, expect_label="sig-b26")


def test_the_standards_own_example() -> None:
    (result,) = verified(EXAMPLE)
    assert result.parameters["keyid"] == "test-key-ed25519"
    other = Message("POST", "https://example.com/foo2", EXAMPLE.headers)
    with pytest.raises(InvalidSignature):
        verified(other)


def test_thumbprint_is_that_of_rfc_8037() -> None:
    # RFC 8037, Appendix A.2 and A.3.
    x = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
    assert thumbprint_of(x) == "kPrK_qmxVWaYVA9wwBF6Iuo3vVzz7TxHCTwXBygrS4k"


@pytest.mark.parametrize("jwk", [
    None, [], {}, {"kty": "OKP", "crv": "Ed25519"}, {"kty": "EC", "crv": "Ed25519", "x": X},
    {"kty": "OKP", "crv": "X25519", "x": X}, {"kty": "OKP", "crv": "Ed25519", "x": X[:-1]},
    {"kty": "OKP", "crv": "Ed25519", "x": X[:-1] + "t"},  # the same 32 bytes, written otherwise
    {"kty": "OKP", "crv": "Ed25519", "x": encoded(bytes([1]) + bytes(31))},  # of small order
    {"kty": "OKP", "crv": "Ed25519", "x": encoded(bytes(32))},
])  # fmt: skip
def test_what_is_no_key(jwk: object) -> None:
    with pytest.raises(Invalid, match="public_key"):
        read_jwk(jwk)


@pytest.fixture
def box(cast: Cast, bar: Bar) -> Box:
    """One that is enrolled at the harbour."""
    return enrolled(cast.shop_lead, cast.site)[0]


def problem(answer: Any) -> str:  # noqa: ANN401
    """The type of the problem it answers."""
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Signature")
    return str(answer.json()["type"]).partition("#")[2]


@pytest.mark.django_db
def test_signed_it_is_answered(box: Box) -> None:
    answer = box.get("settings")
    assert answer.status_code == 200
    assert answer["Date"]


@pytest.mark.django_db
def test_nobody_and_a_person_are_not(box: Box, cast: Cast, api_as: Any) -> None:  # noqa: ANN401
    assert problem(box.client.get(f"{API}settings")) == "signature"
    assert problem(api_as(cast.owner).get(f"{API}settings")) == "signature"


@pytest.mark.django_db
def test_replayed(box: Box) -> None:
    path = f"{API}settings"
    headers = box.signed("GET", path)
    assert box.client.get(path, headers=headers).status_code == 200
    assert problem(box.client.get(path, headers=headers)) == "replayed"


@pytest.mark.django_db
@pytest.mark.parametrize("slow", [301, -302])
def test_wrong_clock(box: Box, slow: int) -> None:
    box.slow = slow
    answer = box.get("settings")
    assert problem(answer) == "clock"
    assert answer["Date"]


@pytest.mark.django_db
def test_clock_a_little_off_is_taken(box: Box) -> None:
    box.slow = 290
    assert box.get("settings").status_code == 200


@pytest.mark.django_db
@pytest.mark.parametrize(("ends", "status"), [(-400, 401), (-200, 200), (60, 200)])
def test_no_longer_than_it_says(box: Box, ends: int, status: int) -> None:
    box.lasts = ends
    answer = box.get("settings")
    assert answer.status_code == status
    assert status == 200 or problem(answer) == "signature"


@pytest.mark.django_db
def test_altered(box: Box) -> None:
    path, body = f"{API}key", b'{"public_key": {}}'
    headers = box.signed("POST", path, body)
    assert problem(box.posted("key", body + b" ", headers)) == "signature"
    assert problem(box.client.get(f"{API}settings", headers=box.signed("GET", path))) == "signature"
    asked = f"{path}?since={'0' * 32}"
    assert problem(box.client.get(asked, headers=box.signed("GET", path))) == "signature"
    no_digest = {k: v for k, v in headers.items() if k != "Content-Digest"}
    assert problem(box.posted("key", body, no_digest)) == "signature"
    elsewhere = box.signed("GET", f"{API}settings")
    answer = box.client.get(f"{API}settings", headers={**elsewhere, "Host": "localhost"})
    assert problem(answer) == "signature"


@pytest.mark.django_db
def test_what_is_not_covered_is_not_signed(box: Box) -> None:
    for left_out in COVERED:
        box.covers = tuple(each for each in COVERED if each != left_out)
        assert problem(box.get("settings")) == "signature", left_out


@pytest.mark.django_db
def test_other_keys(box: Box, cast: Cast) -> None:
    stranger = Box()
    assert problem(stranger.get("settings")) == "signature"
    claims = Box()
    path = f"{API}settings"
    headers = claims.signed("GET", path)
    headers["Signature-Input"] = headers["Signature-Input"].replace(claims.keyid, box.keyid)
    assert problem(box.client.get(path, headers=headers)) == "signature"


@pytest.mark.django_db
@pytest.mark.parametrize("nonce", ["short", "x" * 65])
def test_a_nonce_that_is_none(box: Box, nonce: str) -> None:
    path = f"{API}settings"
    answer = box.client.get(path, headers=box.signed("GET", path, nonce=nonce))
    assert problem(answer) == "signature"


@pytest.mark.django_db
@pytest.mark.parametrize("field", ["Signature", "Signature-Input"])
@pytest.mark.parametrize("value", ["", "x", "gateway=:AA==:", "gateway=1", "(" * 500, "a" * 5000])
def test_headers_that_are_none(box: Box, field: str, value: str) -> None:
    path = f"{API}settings"
    headers = box.signed("GET", path) | {field: value}
    assert problem(box.client.get(path, headers=headers)) == "signature"


@pytest.mark.django_db
def test_revoked(cast: Cast, bar: Bar) -> None:
    box, gateway = enrolled(cast.shop_lead, cast.site)
    revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
    assert problem(box.get("settings")) == "revoked"


def test_a_key_signs_with_its_own() -> None:
    key = Ed25519PrivateKey.generate()
    raw = key.public_key().public_bytes_raw()
    assert key_of(encoded(raw)).public_bytes_raw() == raw
    assert base64.urlsafe_b64decode(encoded(raw) + "=") == raw
    assert len(secrets.token_urlsafe(16)) >= 16
