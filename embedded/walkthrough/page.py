"""One answer of the web server, read as a person reads it: text, links and forms."""

import copy
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from urllib.parse import urljoin

import mechanicalsoup
from bs4 import BeautifulSoup, Tag

Typed = str | bool | Sequence[str]
PRESSED = ("submit", "button", "image", "reset", "file")  # inputs that nobody fills in
CHOSEN = ("checkbox", "radio")


class Unexpected(Exception):  # noqa: N818 - it is a finding about the product, not an error
    """Something went differently than it must; the message says what happened."""


@dataclass(frozen=True)
class Link:
    """Where a link leads, and its words."""

    to: str
    words: str


class Form:
    """A form as it stands on a page, and as a person fills it in."""

    def __init__(self, tag: Tag, path: str) -> None:
        self._tag = tag
        self.action = urljoin(path, str(tag.get("action") or ""))
        self.method = str(tag.get("method") or "get").lower()

    @cached_property
    def _fields(self) -> dict[str, Tag]:
        """The first field of each name that somebody could fill in."""
        found: dict[str, Tag] = {}
        for tag in self._tag.select("input[name], textarea[name], select[name]"):
            if not tag.has_attr("disabled") and tag.get("type") not in PRESSED:
                found.setdefault(str(tag["name"]), tag)
        return found

    def has(self, name: str) -> bool:
        """Whether it has a field of that name."""
        return name in self._fields

    def written(self) -> list[str]:
        """The fields whose value is written, not chosen among some; hidden ones too."""
        fields = self._fields.items()
        return [n for n, tag in fields if tag.name != "select" and tag.get("type") not in CHOSEN]

    def value(self, name: str) -> str:
        """What stands in a field, or is chosen in it; empty where nothing is."""
        return self.filled().get(name, [""])[0]

    def filled(self, **typed: Typed) -> dict[str, list[str]]:
        """Everything a browser would send with these fields filled in.

        True ticks a box. Raises LookupError for a field or a choice the page does not offer.
        """
        form = mechanicalsoup.Form(copy.copy(self._tag))
        for name, value in typed.items():
            if not self.has(name):
                raise LookupError(f"the form for {self.action} has no field {name}")
            try:
                form.set(name, value if isinstance(value, str | bool) else list(value))
            except mechanicalsoup.LinkNotFoundError as missing:
                raise LookupError(str(missing)) from None
        form.choose_submit(False)
        made = mechanicalsoup.Browser.get_request_kwargs(form.form, self.action)
        sent: dict[str, list[str]] = {}
        for name, text in made["params" if self.method == "get" else "data"]:
            sent.setdefault(name, []).append(text)
        return sent


@dataclass
class Page:
    """An answer: where it came from, its status, and what stands on it."""

    path: str
    status: int
    soup: BeautifulSoup

    @cached_property
    def text(self) -> str:
        """All its words."""
        return _words(self.soup)

    @cached_property
    def links(self) -> list[Link]:
        """Its links, in order."""
        return [Link(str(tag["href"]), _words(tag)) for tag in self.soup.select("a[href]")]

    @cached_property
    def forms(self) -> list[Form]:
        """Its forms, in order."""
        return [Form(tag, self.path) for tag in self.soup.select("form")]

    def link(self, words: str = "", to: str = "") -> str:
        """The first link with these words whose address matches; Unexpected if there is none."""
        for address in self.leads(words, to):
            return address
        raise Unexpected(f"{self.path} has no link “{words or to}”")

    def leads(self, words: str = "", to: str = "") -> list[str]:
        """Every address with such a link, once, in order."""
        found = [each.to for each in self.links if words in each.words and re.search(to, each.to)]
        return list(dict.fromkeys(found))

    def form(self, having: str = "", to: str = "") -> Form:
        """The first form with that field, sent to such an address; Unexpected if there is none."""
        for form in self.forms:
            if (not having or form.has(having)) and re.search(to, form.action):
                return form
        raise Unexpected(f"{self.path} has no form for “{having or to}”")

    def must(self, status: int, *sentences: str) -> "Page":
        """The page itself, if it has that status and says all that; else Unexpected."""
        if self.status != status:
            raise Unexpected(f"{self.path} answered {self.status}: {self.heading()}")
        for sentence in sentences:
            if not self.says(sentence):
                raise Unexpected(f"{self.path} does not say “{sentence}”")
        return self

    def says(self, sentence: str) -> bool:
        """Whether that stands on it, in capitals or not."""
        return sentence.casefold() in self.text.casefold()

    def has(self, pattern: str) -> bool:
        """Whether the pattern matches somewhere in its text."""
        return re.search(pattern, self.text, re.IGNORECASE) is not None

    def find(self, pattern: str) -> str:
        """What the pattern's first group (or all of it) matches in the text; else Unexpected."""
        if found := re.search(pattern, self.text, re.IGNORECASE):
            return found[1] if found.re.groups else found[0]
        raise Unexpected(f"{self.path} says nothing like “{pattern}”")

    def heading(self) -> str:
        """The beginning of what it says, for a report."""
        return self.text.partition("Portaledger")[0].strip(" ·") or self.text[:60]


def _words(tag: Tag) -> str:
    """Its words, with every run of white space, no-break spaces included, as one space."""
    return " ".join(tag.get_text(" ").split())


def read(path: str, status: int, html: str) -> Page:
    """The page behind some HTML."""
    soup = BeautifulSoup(html, "lxml")
    for area in soup.select("textarea"):
        area.string = area.text.removeprefix("\n")  # HTML drops the break after the start tag
    return Page(path, status, soup)
