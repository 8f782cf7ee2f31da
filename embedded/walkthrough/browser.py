"""A browser with one person signed in; its requests go to the web processes in turn.

`Stage` holds everybody's browser, and what earlier steps left for later ones.
"""

from collections import Counter, UserDict
from collections.abc import Mapping, Sequence
from itertools import cycle
from typing import Any
from urllib.parse import urlencode, urljoin, urlsplit

import mechanicalsoup

from embedded.walkthrough.page import Form, Page, Typed, Unexpected, read

REDIRECTS = {301, 302, 303}
MOST_REDIRECTS = 5
SECONDS = 60.0
CSRF = "csrfmiddlewaretoken"

# The demo's sign-ins, which its start prints too. Tests hold them against the demo's own.
PASSWORD = "espresso-demo-only"  # noqa: S105 - the demo's
HEAD, SECOND, OWNER = "head-roaster", "second-roaster", "owner"
LEAD, OTHER_LEAD, BARISTA = "lead-harbour", "lead-citadel", "barista"


def email(key: str) -> str:
    """The address somebody signs in with."""
    return f"{key}@portaledger.example"


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


class Browser:
    """Cookies of one session, and the forms of the pages it opens."""

    def __init__(self, addresses: Addresses) -> None:
        self._addresses = addresses
        self._browser = mechanicalsoup.Browser()
        self._browser.session.trust_env = False  # no proxy between us and our own processes

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
        cookies = self._browser.session.cookies
        token = next((cookie.value or "" for cookie in cookies if "csrf" in cookie.name), "")
        return self._ask(path, {CSRF: [token], **{name: [text] for name, text in typed.items()}})

    def _ask(self, path: str, sent: Mapping[str, Sequence[str]] | None) -> Page:
        for _ in range(MOST_REDIRECTS):
            answer = self._answer(path, sent)
            if answer.status_code not in REDIRECTS:
                return read(path, answer.status_code, answer.content.decode(errors="replace"))
            parts = urlsplit(urljoin(path, answer.headers.get("Location", "")))
            path, sent = parts.path + (f"?{parts.query}" if parts.query else ""), None
        raise Unexpected(f"{path} leads in a circle")

    def _answer(self, path: str, sent: Mapping[str, Sequence[str]] | None) -> Any:  # noqa: ANN401
        """One answer as it is: redirects and refusals are what the walkthrough is about."""
        base = self._addresses.next()
        try:
            return self._browser.session.request(
                "GET" if sent is None else "POST", base + path, data=sent,
                headers={"Referer": base + path}, allow_redirects=False, timeout=SECONDS,
            )  # fmt: skip
        except OSError:
            told = f"{base} refused or lost the connection, or was silent for {SECONDS:.0f} s"
            raise ConnectionError(told) from None


class Kept(UserDict[str, str]):
    """What was found on the way: addresses, numbers, names."""

    def __missing__(self, key: str) -> str:
        raise Unexpected(f"an earlier step left no {key}")


class Stage:
    """Everybody's browser, opened and signed in when first needed."""

    def __init__(self, bases: Sequence[str]) -> None:
        self._addresses = Addresses(bases)
        self._browsers: dict[str, Browser] = {}
        self.kept = Kept()

    def __getitem__(self, key: str) -> Browser:
        """The browser of that person. Raises Unexpected if they can't sign in."""
        if key not in self._browsers:
            browser = Browser(self._addresses)
            browser.sign_in(email(key), PASSWORD)
            self._browsers[key] = browser
        return self._browsers[key]

    def asked(self) -> Mapping[str, int]:
        """How many requests went to each web process."""
        return self._addresses.asked
