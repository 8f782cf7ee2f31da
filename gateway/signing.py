"""Signed requests: RFC 9421 message signatures with a content digest (RFC 9530), by Ed25519."""

import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from http_message_signatures import (
    HTTPMessageSigner,
    MappingKeyResolver,
    algorithms,
)
from requests import PreparedRequest
from requests.auth import AuthBase

from gateway.keys import thumbprint, unpadded

LABEL = "gateway"
LABEL_OF_NEW_KEY = "new"
TAG = "portaledger-gateway"
COVERED = ("@method", "@authority", "@path", "@query")
COVERED_WITH_BODY = (*COVERED, "content-digest", "content-type")
NONCE_BYTES = 16


@dataclass(frozen=True)
class Signer(AuthBase):
    """Signs what `requests` is about to send; a new nonce and moment every time.

    ``moment`` says when a signature is made, on the server's clock as far as it is known.
    """

    key: Ed25519PrivateKey
    moment: Callable[[], datetime]
    label: str = LABEL

    def __call__(self, request: PreparedRequest) -> PreparedRequest:
        """Add digest and signature; a signature that is there already (another key's) stays."""
        body = request.body or b""
        if not isinstance(body, bytes):
            raise TypeError("a body is signed as the bytes that are sent")
        sign(
            request,
            body=body or None,
            key=self.key,
            keyid=thumbprint(self.key.public_key()),
            created=self.moment(),
            covered=COVERED_WITH_BODY if body else COVERED,
            label=self.label,
            nonce=unpadded(secrets.token_bytes(NONCE_BYTES)),
            tag=TAG,
        )
        return request


def sign(
    request: PreparedRequest,
    *,
    key: Ed25519PrivateKey,
    keyid: str,
    created: datetime,
    covered: tuple[str, ...],
    label: str,
    body: bytes | None = None,
    nonce: str | None = None,
    tag: str | None = None,
    include_alg: bool = True,
) -> None:
    """Put one signature into the headers of a request, beside those of other labels.

    With a ``body``, as the bytes that are sent, its digest too.
    """
    signer = HTTPMessageSigner(
        signature_algorithm=algorithms.ED25519,
        key_resolver=MappingKeyResolver(public_keys={}, private_keys={keyid: key}),
    )
    signer.sign(
        request,
        key_id=keyid,
        created=created,
        nonce=nonce,
        label=label,
        tag=tag,
        include_alg=include_alg,
        covered_component_ids=covered,
        append_if_signature_exists=True,
        body=body,
        use_existing_digest=body is not None,
    )
