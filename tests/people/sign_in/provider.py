"""A real provider of single sign-on on loopback, for tests."""

from urllib.parse import urlsplit

import requests
from django.test import Client

Claims = dict[str, str | int | bool]


class Provider:
    """The provider, and what it says of a subject."""

    def __init__(self, issuer: str) -> None:
        self.issuer = issuer
        self.id = ""

    def says(self, subject: str, **claims: str | int | bool) -> None:
        """From now on."""
        requests.put(f"{self.issuer}/users/{subject}", json=claims, timeout=5).raise_for_status()

    def sign_in(self, browser: Client, subject: str, query: str = "") -> str:
        """All of it, as the browser of this subject; where it leads to in the end."""
        start = browser.get(f"/account/single/{self.id}/login/{query}")
        assert start["Location"].startswith(f"{self.issuer}/oauth2/authorize"), start
        return str(browser.get(self.answer(start["Location"], subject))["Location"])

    def answer(self, asked: str, subject: str) -> str:
        """The subject proves who they are over there; the address here they are sent back to."""
        answer = requests.post(asked, data={"sub": subject}, allow_redirects=False, timeout=5)
        back = urlsplit(answer.headers["Location"])
        return f"{back.path}?{back.query}"
