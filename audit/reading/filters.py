"""What to look for in the history, as typed or as asked for over the API."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.conf import settings
from django.forms.utils import flatatt
from django.http import QueryDict
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.http import urlencode
from django.utils.safestring import SafeString, mark_safe

from audit.capture.models import Operation
from audit.errors import Invalid, Problem, Subject, shown
from audit.reading.choosing import LONGEST, meant
from audit.reading.keyset import LAST
from audit.reading.queries import HistoryFilter, page_of
from audit.registry import NameLookup, Scope, SubjectKind, registry
from audit.vocabulary import ACTIONS

MOST = 10  # candidates shown of one kind
DIGITS = 19  # of the largest id there can be


@dataclass(frozen=True, slots=True)
class Candidate:
    """A subject whose name fits what was typed."""

    subject: Subject
    word: str


def whole_number(
    name: str, text: str, allowed: str = "a whole number", *, least: int = 0, most: int = LAST
) -> int:
    """A number of an address or a query. Raises Invalid (name) unless it is one, within limits."""
    if not (text.isascii() and text.isdigit() and len(text) <= DIGITS):
        raise Invalid(name, text, allowed)
    if not least <= int(text) <= most:
        raise Invalid(name, text, allowed)
    return int(text)


def candidates(text: str, type_: str, scope: frozenset[int] | None) -> list[Candidate]:
    """Subjects of a type (or, for '', of every one that can be searched) whose name fits the text.

    Only those of whose history somebody with that scope may read any: a name is told too.
    """
    kinds = [kind for kind in registry.subjects.values() if type_ in ("", kind.type)]
    matching = (candidate for kind in kinds for candidate in _of(kind, text))
    return [each for each in matching if scope is None or _readable(each.subject, scope)]


def _of(kind: SubjectKind, text: str) -> Iterator[Candidate]:
    if kind.find:
        for count, (pk, label) in enumerate(kind.find(text)):
            if count == MOST:
                return
            yield Candidate(Subject(kind.type, pk, label), kind.word)


def _readable(subject: Subject, scope: frozenset[int]) -> bool:
    about = HistoryFilter(subject_type=subject.type, subject_id=subject.id)
    return bool(page_of(about, scope, size=1).entries)


class FlatSelect(forms.Select):
    """A list to choose from, drawn in one go: by Django's own, each choice is two templates."""

    def render(
        self,
        name: str,
        value: object,
        attrs: dict[str, Any] | None = None,
        renderer: object = None,
    ) -> SafeString:
        """The element with its choices."""
        chosen = str(value or "")
        selected = {chosen: mark_safe(" selected")}
        every = ((str(code), selected.get(str(code), ""), label) for code, label in self.choices)
        options = format_html_join("", '<option value="{}"{}>{}</option>', every)
        about = flatatt(self.build_attrs({**self.attrs, "name": name}, attrs))
        return format_html("<select{}>{}</select>", about, options)


ANY = ("", "Any")
OUTCOMES = [(Operation.REFUSED.value, "Refused")]
EARLIEST_YEAR = 2000


def _picked(label: str, choices: Sequence[tuple[str, str]], allowed: str) -> forms.ChoiceField:
    """A list to choose from; the error repeats the value and says what is allowed."""
    messages = {"invalid_choice": f"“%(value)s” can't be used. Choose {allowed}."}
    return forms.ChoiceField(
        label=label,
        choices=[ANY, *choices],
        required=False,
        error_messages=messages,
        widget=FlatSelect,
    )


def _day(label: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=False,
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Give a date as year-month-day, such as 2026-08-01."},
    )


def _named(label: str, list_id: str) -> forms.CharField:
    """A name to type, or a part of it; with script, suggestions come into the list of that id."""
    ask = {
        "hx-get": "",
        "hx-trigger": "focus once, input changed delay:150ms",
        "hx-target": f"#{list_id}",
    }
    attrs = {"list": list_id, "autocomplete": "off", "spellcheck": "false", **ask}
    return forms.CharField(
        label=label, required=False, max_length=LONGEST, widget=forms.TextInput(attrs=attrs)
    )


@dataclass(frozen=True, slots=True)
class Suggested:
    """One of several that a text may mean, and the query that means it."""

    word: str
    query: str


class FilterForm(forms.Form):
    """Site, subject, person, device, action, parameter, outcome and days; every one optional."""

    site = _named("Site", "site_names")
    about = _picked("Kind", [], "a kind from the list")
    subject = forms.CharField(label="Subject", required=False, max_length=120)
    person = _named("Person", "person_names")
    device = _named("Device", "device_names")
    action = _picked("Action", [], "an action from the list")
    parameter = _picked("Parameter", [], "a parameter from the list")
    outcome = _picked("Outcome", OUTCOMES, "an outcome from the list")
    since = _day("From")
    until = _day("To")

    def __init__(self, data: Mapping[str, Any], scope: Scope) -> None:
        # A copy: what was chosen by its number is shown by its name.
        self.shown = data.copy() if isinstance(data, QueryDict) else dict(data)
        super().__init__(self.shown)
        self.scope = scope
        self.candidates: list[Candidate] = []
        self.suggested: list[Suggested] = []
        self._choices("about", [(kind.type, kind.word) for kind in registry.subjects.values()])
        self._choices("action", sorted(ACTIONS.items(), key=lambda pair: pair[1]))
        self._choices("parameter", registry.parameters())

    def _choices(self, name: str, choices: Sequence[tuple[str, str]]) -> None:
        field = self.fields[name]
        if isinstance(field, forms.ChoiceField):
            field.choices = [ANY, *choices]

    def clean_site(self) -> int | None:
        """The site meant."""
        return self._meant("site", registry.site_names, "site")

    def clean_person(self) -> int | None:
        """The person meant."""
        return self._meant("person", registry.people_names, "person")

    def clean_device(self) -> int | None:
        """The device meant."""
        return self._meant("device", registry.device_names, "device")

    def _meant(self, name: str, names: NameLookup, word: str) -> int | None:
        text = self.cleaned_data[name]
        if not text:
            return None
        found = meant(names, text, self.scope)
        if len(found) == 1:
            pk, label = found[0]
            if meant(names, label, self.scope) == [(pk, label)]:  # and not a name of digits
                self.shown[name] = label
            return pk
        if not found:
            raise forms.ValidationError(
                f"“{shown(text)}” can't be used. Choose a {word} from the list."
            )
        self.suggested += [Suggested(label, self._with(name, pk)) for pk, label in found]
        raise forms.ValidationError(
            f"“{shown(text)}” may be any of several. Choose a {word} from the list, or one of "
            "those under this form."
        )

    def _with(self, name: str, pk: int) -> str:
        kept = {key: self.data[key] for key in self.fields if self.data.get(key)}
        return urlencode({**kept, name: pk})

    def clean(self) -> dict[str, Any]:
        """The subject found by name or number; the days in order."""
        data = super().clean() or {}
        text = data.get("subject", "")
        if text and not self.errors:
            data["found"] = self._find(text, data["about"])
        since, until = data.get("since"), data.get("until")
        if since and until and since > until:
            self.add_error("until", f"{until} is before {since}: give that day or a later one.")
        latest = timezone.now().year + 1
        for name, value in (("since", since), ("until", until)):
            if value and not EARLIEST_YEAR <= value.year <= latest:
                self.add_error(name, f"{value}: give a year from {EARLIEST_YEAR} to {latest}.")
        return data

    def _find(self, text: str, about: str) -> tuple[str, int] | None:
        if about and text.isascii() and text.isdigit() and len(text) < 19:
            return about, int(text)
        self.candidates = candidates(text, about, self.scope)
        if len(self.candidates) == 1:
            subject = self.candidates[0].subject
            return subject.type, subject.id or 0
        what = "Nothing has that name" if not self.candidates else "Several things have that name"
        self.add_error(
            "subject", f"{what}: “{shown(text)}”. Give the whole name, or the kind and its number."
        )
        return None

    def wanted(self) -> HistoryFilter:
        """The filter asked for. Raises Invalid with every problem of the form."""
        if not self.is_valid():
            raise Invalid.of(
                [
                    Problem(name, self.data.get(name), " ".join(map(str, texts)).rstrip("."))
                    for name, texts in self.errors.items()
                ]
            )
        data = self.cleaned_data
        type_, pk = data.get("found") or (None, None)
        site = data["site"]
        of_site = registry.sites([site]) if site and self._by_day() else {}
        return HistoryFilter(
            site=site,
            subject_type=type_,
            subject_id=pk,
            actor=data["person"],
            action=data["action"] or None,
            parameter=data["parameter"] or None,
            operation=data["outcome"] or None,
            device=str(data["device"]) if data["device"] else None,
            since=data["since"],
            until=data["until"],
            zone=of_site[site].zone if of_site else settings.HOUSE_ZONE,
        )

    def _by_day(self) -> bool:
        return bool(self.cleaned_data["since"] or self.cleaned_data["until"])
