"""Whatever somebody types wrongly comes back with a sentence at its field; nothing is written.

Each form's own good data is taken; every field is given each bad value for what stands there.
"""

import re
from collections.abc import Iterator
from urllib.parse import urlencode

import pytest
from django.forms import BaseForm
from django.urls import reverse

from tests.bad_input.asking import Answer, send
from tests.bad_input.form import Form
from tests.bad_input.pages import FORMS
from tests.bad_input.things import Things
from tests.bad_input.values import kind_of, some, texts_for
from tests.permissions.rows import PAGES, WIDE_PAGES

pytestmark = pytest.mark.django_db
URLENCODED = "application/x-www-form-urlencoded"
ABOUT_THE_WHOLE = {404, 409, 412}
ELSEWHERE = {
    "people:disconnect": "somebody connected by a provider: test_single_sign_on.py",
    "stations:import": "a file: test_files.py",
    "recipes:exchange": "a file: tests/recipes/exchange",
    "recipes:version_appraisal": "what follows from what is typed; writes nothing: below",
}


class Sweep:
    """One form being tried."""

    def __init__(self, form: Form, space: str, things: Things) -> None:
        self.form, self.things, self.slips = form, things, list[str]()
        address = {"pk": form.pk(things)} if form.pk else things.world.address(form.thing, "own")
        self.url = reverse(f"{space}:{form.name}", kwargs=address) + form.query(things)
        self.good = dict(form.sent(things))

    def send(self, changed: dict[str, str | list[str]]) -> Answer:
        """The answer to the good form with something else in it."""
        sent = urlencode({**self.good, **changed}, doseq=True, errors="surrogatepass")
        who = self.things.who(self.form.who)
        return send(self.things.world, who, "POST", self.url, sent=sent, kind=URLENCODED)

    def expect_good(self) -> None:
        """The table's form is accepted: only then is a refusal about the value."""
        answer = self.send({})
        if answer.status != self.form.good:
            told = errors(answer) or page_text(answer)[:300]
            self.slips.append(f"{self.form.name}: {answer.status} for a good form: {told}")

    def expect_refusal(self, name: str, value: str | list[str]) -> None:
        """A 4xx that names the field; nothing written."""
        answer, words = self.send({name: value}), f"{self.form.name} {name}={str(value)[:60]!r}"
        if not answer.refused:
            self.slips.append(f"{words}: {answer.status}")
        elif answer.wrote:
            self.slips.append(f"{words}: {answer.status}, but something was written")
        elif answer.status not in ABOUT_THE_WHOLE and not names(answer, name):
            self.slips.append(f"{words}: {answer.status} names {errors(answer)}")


def errors(answer: Answer) -> dict[str, list[str]]:
    """The errors of every form on the page that came back."""
    contexts = getattr(answer.response, "context", None) or []
    forms = [value for layer in contexts for value in layer.flatten().values()
             if isinstance(value, BaseForm) and value.is_bound]  # fmt: skip
    return {name: list(map(str, told)) for form in forms for name, told in form.errors.items()}


def page_text(answer: Answer) -> str:
    """The page as it came back."""
    return bytes(getattr(answer.response, "content", b"")).decode()


def names(answer: Answer, name: str) -> bool:
    """Whether the page says what it is about: at the field, or in words."""
    found = errors(answer)
    # Which of the two is wrong is not told: that would help somebody who is guessing.
    if name in found or (name == "email" and "password" in found):
        return True
    said = " ".join(found.get("__all__", [])) or page_text(answer)
    return re.split(r"[_.]", name)[0].lower() in said.lower()


def together(trial: Sweep) -> Iterator[dict[str, str | list[str]]]:
    """Bad values for all fields at once, round by round: most are told in one answer."""
    bad = {
        name: [text for text in texts_for(kind_of(value)) if text not in _fine(trial, name)]
        for name, value in trial.good.items()
        if isinstance(value, str) and value != "on"  # a ticked box, whatever it sends
    }
    for number in range(max(map(len, bad.values()), default=0)):
        yield {name: texts[number] for name, texts in bad.items() if number < len(texts)}


def _fine(trial: Sweep, name: str) -> list[str]:
    return [str(value) for value in trial.form.fine.get(name, ())]


def sweep(form: Form, space: str, things: Things) -> list[str]:
    """Everything that is not refused as it should be."""
    trial = Sweep(form, space, things)
    trial.expect_good()
    for values in together(trial):
        told = errors(trial.send(values))
        for name in values.keys() - told.keys():
            trial.expect_refusal(name, values[name])
    for name, bad in form.also.items():
        for value in some(bad, len(form.name + name), 4):
            trial.expect_refusal(name, value)
    answer = trial.send({name: [] for name in trial.good})
    if trial.good and not form.empty and (not answer.refused or answer.wrote):
        trial.slips.append(f"{form.name} with nothing in it: {answer.status}")
    return trial.slips


def test_every_form_is_swept() -> None:
    swept = {f"{space}:{form.name}" for space, forms in FORMS.items() for form in forms}
    sent = {row.name for row in PAGES + WIDE_PAGES if row.method == "POST"}
    assert sent - swept - set(ELSEWHERE) == set(), "forms without a row in pages.py"


@pytest.mark.parametrize(("space", "part"), [(space, part) for space in FORMS for part in (0, 1)])
def test_forms(things: Things, space: str, part: int) -> None:
    slips = [slip for form in FORMS[space][part::2] for slip in sweep(form, space, things)]
    assert not slips, "\n" + "\n".join(slips)
