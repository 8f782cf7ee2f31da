"""A browser with one person signed in; its requests go to the web processes in turn."""

import urllib.request
from collections import Counter
from collections.abc import Mapping, Sequence
from http.cookiejar import CookieJar
from itertools import cycle
from typing import IO
from urllib.parse import urlencode, urljoin, urlsplit
from urllib.request import HTTPCookieProcessor, HTTPErrorProcessor, Request, build_opener

from embedded.walkthrough.form import Form, Typed
from embedded.walkthrough.page import Page, Unexpected, read

REDIRECTS = {301, 302, 303}
MOST_REDIRECTS = 5
SECONDS = 60.0
CSRF = "csrfmiddlewaretoken"


class Addresses:
    """The web processes, one after the other, whoever asks: none of them may matter."""

    def __init__(self, bases: Sequence[str]) -> None:
        self._turn = cycle(base.rstrip("/") for base in bases)
        self.asked: Counter[str] = Counter()

    def next(self) -> str:
        """Whose turn it is."""
        base = next(self._turn)
        self.asked[base] += 1
        return base


class _AsTheyAre(HTTPErrorProcessor):
    """Hands every status on: redirects and refusals are what the walkthrough is about."""

    def http_response(self, request: Request, response: IO[bytes]) -> IO[bytes]:
        return response

    https_response = http_response


class Browser:
    """Cookies of one session, and the forms of the pages it opens."""

    def __init__(self, addresses: Addresses) -> None:
        self._addresses = addresses
        self._cookies = CookieJar()
        self._opener = build_opener(HTTPCookieProcessor(self._cookies), _AsTheyAre)

    def sign_in(self, email: str, password: str) -> None:
        """By the sign-in page. Raises Unexpected if that fails."""
        form = self.open("/account/login/").must(200).form(having="login")
        page = self.send(form, login=email, password=password)
        if page.path != "/":
            raise Unexpected(f"{email} could not sign in: {page.heading()}")

    def open(self, path: str) -> Page:
        """Follow a link, and the redirects behind it."""
        return self._ask(path, None)

    def send(self, form: Form, **typed: Typed) -> Page:
        """Fill in a form of a page and send it. Raises Unexpected for what it does not offer."""
        try:
            sent = form.filled(**typed)
        except LookupError as missing:
            raise Unexpected(str(missing)) from None
        if form.method == "get":
            return self.open(f"{form.action.partition('?')[0]}?{urlencode(sent, doseq=True)}")
        return self._ask(form.action, sent)

    def force(self, path: str, **typed: str) -> Page:
        """Post what no page offers, as somebody does who means to get past them."""
        token = next((cookie.value or "" for cookie in self._cookies if "csrf" in cookie.name), "")
        return self._ask(path, {CSRF: [token], **{name: [text] for name, text in typed.items()}})

    def _ask(self, path: str, sent: Mapping[str, Sequence[str]] | None) -> Page:
        for _ in range(MOST_REDIRECTS):
            base = self._addresses.next()
            body = None if sent is None else urlencode(sent, doseq=True).encode()
            request = urllib.request.Request(base + path, body)  # noqa: S310 - ours
            request.add_header("Referer", base + path)
            with self._opener.open(request, timeout=SECONDS) as answer:
                html = answer.read().decode(errors="replace")
                status, where = answer.status, answer.headers.get("Location", "")
            if status not in REDIRECTS:
                return read(path, status, html)
            parts = urlsplit(urljoin(path, where))
            path, sent = parts.path + (f"?{parts.query}" if parts.query else ""), None
        raise Unexpected(f"{path} leads in a circle")
