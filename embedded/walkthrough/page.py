"""One answer of the web server, read as a person reads it: text, links and forms."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

from embedded.walkthrough.form import Form, FormReader

SILENT = {"script", "style", "template"}
Attributes = list[tuple[str, str | None]]


class Unexpected(Exception):  # noqa: N818 - it is a finding about the product, not an error
    """Something went differently than it must; the message says what happened."""


@dataclass(frozen=True)
class Link:
    """Where a link leads, and its words."""

    to: str
    words: str


@dataclass(frozen=True)
class Page:
    """An answer: where it came from, its status, and what stands on it."""

    path: str
    status: int
    text: str
    links: list[Link] = field(default_factory=list)
    forms: list[Form] = field(default_factory=list)

    def link(self, words: str = "", to: str = "") -> str:
        """The first link with these words whose address matches; Unexpected if there is none."""
        for link in self.links:
            if words in link.words and re.search(to, link.to):
                return link.to
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


class PageReader(HTMLParser):
    """Collects text, links and forms from HTML."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.path = path
        self.words: list[str] = []
        self.links: list[Link] = []
        self.forms = FormReader(path)
        self._silent = 0
        self._link: tuple[str, int] | None = None

    def handle_starttag(self, tag: str, attrs: Attributes) -> None:
        """Begin whatever begins here."""
        given = {name: value or "" for name, value in attrs}
        self._silent += tag in SILENT
        self.words.append(" ")
        if tag == "a" and "href" in given:
            self._link = (given["href"], len(self.words))
        self.forms.begin(tag, given)

    def handle_endtag(self, tag: str) -> None:
        """End what ends here."""
        self._silent -= tag in SILENT
        if tag == "a" and self._link:
            to, since = self._link
            self.links.append(Link(to, squeezed("".join(self.words[since:]))))
            self._link = None
        self.words.append(" ")
        self.forms.end(tag)

    def handle_data(self, data: str) -> None:
        """Keep the words."""
        if not self._silent:
            self.words.append(data)
        self.forms.words(data)


def squeezed(text: str) -> str:
    """Text with every run of white space, no-break spaces included, as one space."""
    return " ".join(text.split())


def read(path: str, status: int, html: str) -> Page:
    """The page behind some HTML."""
    reader = PageReader(path)
    reader.feed(html)
    reader.close()
    return Page(path, status, squeezed("".join(reader.words)), reader.links, reader.forms.forms)
