"""How the API's description names the two ways to sign in."""

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema

from people.tokens.authentication import SignedInAuthentication, TokenAuthentication


class TokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The bearer token."""

    target_class = TokenAuthentication
    name = "token"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """OpenAPI's words for it."""
        return {"type": "http", "scheme": "bearer"}


class SessionScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """The pages' session."""

    target_class = SignedInAuthentication
    name = "session"

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """OpenAPI's words for it."""
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
