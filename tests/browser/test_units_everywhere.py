"""Every page for somebody who reads °F and oz: no °C or g is left over, and nobody else sees °F.

By the text of the pages, without a browser: what a page says is the same at any width.
"""

import re
from html import unescape

import pytest
from django.test import Client

from people.persons.models import User
from people.units.actions import choose_units
from tests.browser.scene import Scene
from tests.browser.test_every_page import address
from tests.browser.visits import VISITS, Visit
from tests.cast import Cast, SignedIn

MARKUP = re.compile(r"<(script|style|title)\b.*?</\1>|<[^>]+>", re.DOTALL)
METRIC = re.compile(r"\d\s*°C\b|(?<![\w/.])\d[\d.]*\s*g\b(?!/)")
OTHERS = re.compile(r"°F|\boz\b")
ALONE = re.compile(r"(?:/|\bin) (?:°C|g)\b")  # axes, and labels of boxes

# What stays in °C and g for everybody, and why.
AS_STORED = {
    "audit:history": "the history says what is stored; figures stand in it as typed, too",
    "audit:entry": "the same",
    "audit:timeline": "the same",
    "stations:import": "a file's columns say their unit; it is read alike whoever brings it",
    "people:units": "it shows what can be chosen",
    "stations:water_add": "a report's own unit is chosen beside each value",
    "stations:water": "readings stand in the unit of their report",
    "recipes:tastings": "samples are called as somebody called them",
    "recipes:tasting": "the same",
    "recipes:tasting_sheets": "the same",
    "recipes:book": "printed for everybody, in both units",
}
# Sentences of the pure packages: a signer accepts them as they are, programs and the history read
# the same words. Texts that somebody wrote stay as they wrote them.
SENTENCES = (
    r"[^.]*\babove boiling\b[^.]*\.[^.]*", r"[^.]*\bbelow boiling\b[^.]*\.[^.]*",
    r"\d{4}: .*\bagainst\b", r"\d[\d.]* mL for [^.]*\.?\d*[^.]*, by ", r"[^.]* in the grounds",
)  # fmt: skip


def said(markup: str) -> str:
    """What stands on a page, without what is typed into its boxes."""
    text = unescape(MARKUP.sub(" ", markup)).replace("\u00a0", " ").replace("\u202f", "")
    return re.sub(r"\s+", " ", text)


def left_over(browser: Client, visit: Visit, scene: Scene, wanted: re.Pattern[str]) -> list[str]:
    path = address(visit, scene)
    text = said(browser.get(path).content.decode())
    found = [match for look in (wanted, ALONE) for match in look.finditer(text)]
    if wanted is OTHERS:
        found = list(OTHERS.finditer(text))
    around = [text[max(0, one.start() - 90) : one.end() + 30] for one in found]
    excused = [one for one in around if not any(re.search(s, one) for s in SENTENCES)]
    return [f"{path}: … {one} …" for one in excused]


def in_ounces(person: User) -> None:
    choose_units(by=person, revision=person.revision, temperatures="[degF]", masses="[oz_av]")


@pytest.mark.parametrize("person", VISITS)
def test_no_celsius_and_no_gram_is_left_over(
    cast: Cast, scene: Scene, signed_in: SignedIn, person: str
) -> None:
    who = User.objects.get(pk=getattr(cast, person).pk)
    in_ounces(who)
    browser = signed_in(who)
    visits = [visit for visit in VISITS[person] if visit.name not in AS_STORED]
    told = [line for visit in visits for line in left_over(browser, visit, scene, METRIC)]
    assert not told, "\n".join(told)


@pytest.mark.parametrize("person", VISITS)
def test_nobody_else_sees_any_of_it(
    cast: Cast, scene: Scene, signed_in: SignedIn, person: str
) -> None:
    browser = signed_in(getattr(cast, person))
    choosing = {"people:units", "stations:water_add"}  # they offer them
    visits = [visit for visit in VISITS[person] if visit.name not in choosing]
    told = [line for visit in visits for line in left_over(browser, visit, scene, OTHERS)]
    assert not told, "\n".join(told)
