"""What an entry changed, field by field, in words: labels, quantities, moments and names."""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.dateparse import parse_datetime

from audit.capture.models import Entry
from audit.reading.labels import Label, in_order, label_of
from audit.reading.named import NOBODY, Names, target_of
from audit.registry import registry

UNBROKEN = re.compile(r"\S{41,}")  # such as a public key: no line could be broken in it
FINGERPRINT = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Change:
    """One field: its label, its value before and after, its unit; empty is None.

    Values are text, numbers, or for a moment in time a datetime.
    """

    label: str
    old: object
    new: object
    unit: str = ""
    code: str = field(default="", compare=False)  # of the parameter, where it is one of several

    @property
    def is_time(self) -> bool:
        """Whether the values are moments, to be shown on the site's clock."""
        return isinstance(self.old, datetime) or isinstance(self.new, datetime)


@dataclass(frozen=True, slots=True)
class Wording:
    """What words values are given: names of what keys lead to, and of parameters.

    `whole`: nothing is shortened to fit a column.
    """

    names: Names = NOBODY
    parameters: Mapping[str, str] = field(default_factory=dict)
    whole: bool = False


PLAIN = Wording()


def changes_of(entry: Entry, wording: Wording = PLAIN) -> list[Change]:
    """Every field the entry records, in the model's order; structured values by their parts."""
    changes: list[Change] = []
    for column in in_order(entry.table_name, entry.changes):
        old, new = entry.changes[column]
        label = label_of(entry.table_name, column)
        if isinstance(old, dict) or isinstance(new, dict):
            changes.extend(_parts(label, old or {}, new or {}, wording))
        else:
            measured = not label.target and (_is_number(old) or _is_number(new))
            unit = label.unit or (_unit_of(entry, label) if measured else "")
            target = target_of(entry, label)
            before, after = (
                wording.names.thing(target, value) if target else _words(label, value, wording)
                for value in (old, new)
            )
            changes.append(Change(label.name, before, after, unit))
    return changes


def _unit_of(entry: Entry, label: Label) -> str:
    """The unit the entry names, or of a target without one, that of its parameter."""
    if entry.unit or not label.of_parameter:
        return entry.unit
    return registry.parameter_unit(entry.parameter or "")


def _parts(label: Label, old: object, new: object, wording: Wording) -> Iterator[Change]:
    """Each key in which two structured values differ. {"value", "unit"} is a quantity."""
    before, after = _keyed(old), _keyed(new)
    for key in before | after:
        a, b = before.get(key), after.get(key)
        if a != b:
            part = wording.parameters.get(key, key.replace("_", " "))
            name = f"{label.name}: {part[:1].lower()}{part[1:]}"
            yield Change(name, _amount(a), _amount(b), _unit(b) or _unit(a), key)


def _keyed(value: object) -> dict[str, object]:
    return value if isinstance(value, dict) else {"": value}


def _amount(value: object) -> object:
    if isinstance(value, Mapping) and "value" in value:
        return value["value"]
    return _plain(value)


def _unit(value: object) -> str:
    return str(value.get("unit") or "") if isinstance(value, Mapping) else ""


def _words(label: Label, value: object, wording: Wording) -> object:
    if label.is_time and isinstance(value, str):
        return parse_datetime(value) or value
    if label.is_code and value in wording.parameters:
        return wording.parameters[str(value)]
    if not wording.whole and isinstance(value, str):
        # A list has no room for it; the entry's own page shows it whole.
        value = f"{value[:12]}…" if FINGERPRINT.fullmatch(value) else fitted(value)
    return label.values.get(str(value), _plain(value)) if value is not None else None


def fitted(text: str) -> str:
    """For a list: words that are too long for its columns by their beginnings."""
    return UNBROKEN.sub(lambda word: f"{word[0][:24]}…", text)


def _plain(value: object) -> object:
    """Truth as a word, lists and structures as one line of text, the rest as it is."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return _joined(f"{key} {_plain(part)}" for key, part in value.items())
    if isinstance(value, list):
        return _joined(str(_plain(part)) for part in value)
    return value


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(parts)


def _is_number(value: object) -> bool:
    """Whether a unit belongs behind it: decimals are recorded as text."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        return False
    digits = str(value).removeprefix("-").replace(".", "", 1)
    return digits.isascii() and digits.isdigit()
