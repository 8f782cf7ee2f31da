"""A passkey of a made-up device: registers and answers as W3C Web Authentication has it.

Keys and arithmetic are `cryptography`'s, the bytes are put together by the specification's
sections 6.1 (authenticator data) and 5.8.1 (client data).
"""

import json
import secrets
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from allauth.mfa.models import Authenticator
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from fido2.cose import ES256
from fido2.utils import websafe_decode, websafe_encode
from fido2.webauthn import (
    AttestationObject,
    AttestedCredentialData,
    AuthenticatorData,
    CollectedClientData,
)

from audit.capture.context import recorded
from people.persons.models import User
from people.sign_in.urls import OWN_ACCOUNT

HOUSE = "localhost"
ORIGIN = "http://localhost"
PRESENT, VERIFIED, ATTESTED = 0x01, 0x04, 0x40


@dataclass
class Device:
    """One key of one device."""

    house: str = HOUSE
    credential: bytes = field(default_factory=lambda: secrets.token_bytes(16))
    private: ec.EllipticCurvePrivateKey = field(
        default_factory=lambda: ec.generate_private_key(ec.SECP256R1())
    )
    counter: int = 0

    @property
    def house_hash(self) -> bytes:
        """The relying party's."""
        return sha256(self.house.encode()).digest()

    def attestation(self) -> AttestationObject:
        """What it says of itself when it is registered."""
        public = ES256.from_cryptography_key(self.private.public_key())  # type: ignore[no-untyped-call]
        own = AttestedCredentialData.create(bytes(16), self.credential, public)
        flags = AuthenticatorData.FLAG(PRESENT | VERIFIED | ATTESTED)
        data = AuthenticatorData.create(self.house_hash, flags, 0, own)
        return AttestationObject.create("none", data, {})

    def registered(self) -> dict[str, Any]:
        """As the library keeps it."""
        client = CollectedClientData.create("webauthn.create", b"c" * 32, ORIGIN)
        name = websafe_encode(self.credential)
        return {
            "id": name,
            "rawId": name,
            "type": "public-key",
            "response": {
                "attestationObject": websafe_encode(self.attestation()),
                "clientDataJSON": client.b64,
            },
            "clientExtensionResults": {},
        }

    def of(self, person: User, label: str = "Phone") -> Authenticator:
        """Give it to somebody, as the library's page does."""
        with recorded(by=person, action=OWN_ACCOUNT):
            return Authenticator.objects.create(
                user=person, type="webauthn", data={"name": label, "credential": self.registered()}
            )

    def taken_from(self, person: User) -> None:
        """Remove it from their account."""
        with recorded(by=person, action=OWN_ACCOUNT):
            Authenticator.objects.filter(user=person, type="webauthn").delete()

    def answer(
        self,
        challenge: bytes,
        *,
        origin: str = ORIGIN,
        house: str = "",
        flags: int = PRESENT | VERIFIED,
        kind: str = "webauthn.get",
    ) -> str:
        """What a browser sends when the device was asked, as JSON."""
        self.counter += 1
        house_hash = sha256(house.encode()).digest() if house else self.house_hash
        said = AuthenticatorData.create(house_hash, AuthenticatorData.FLAG(flags), self.counter)
        client = CollectedClientData.create(kind, challenge, origin)
        signature = self.private.sign(said + client.hash, ec.ECDSA(hashes.SHA256()))
        name = websafe_encode(self.credential)
        return json.dumps(
            {
                "id": name,
                "rawId": name,
                "type": "public-key",
                "response": {
                    "authenticatorData": websafe_encode(said),
                    "clientDataJSON": client.b64,
                    "signature": websafe_encode(signature),
                },
            }
        )

    def answer_to(self, options: dict[str, Any], **other: Any) -> str:  # noqa: ANN401
        """The answer to what a page was given to ask."""
        return self.answer(websafe_decode(options["challenge"]), **other)
