"""An entry as people read it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from audit.labels import Label, label_of
from audit.models import Entry


@dataclass(frozen=True, slots=True)
class Change:
    """One field: its label, its value before and after, its unit; empty is None."""

    label: str
    old: object
    new: object
    unit: str = ""


def changes_of(entry: Entry) -> list[Change]:
    """Every field the entry records; a structured value is taken apart into its parts."""
    found: list[Change] = []
    for column, (old, new) in entry.changes.items():
        label = label_of(entry.table_name, column)
        if isinstance(old, dict) or isinstance(new, dict):
            found.extend(_parts(label, old or {}, new or {}))
        else:
            unit = label.unit or (entry.unit if _is_number(old) or _is_number(new) else "")
            found.append(Change(label.name, _words(label, old), _words(label, new), unit))
    return found


def _parts(label: Label, old: object, new: object) -> Iterator[Change]:
    """Each key in which two structured values differ. {"value", "unit"} is a quantity."""
    before, after = _keyed(old), _keyed(new)
    for key in before | after:
        a, b = before.get(key), after.get(key)
        if a != b:
            name = f"{label.name}: {key.replace('_', ' ')}"
            yield Change(name, _amount(a), _amount(b), _unit(b) or _unit(a))


def _keyed(value: object) -> dict[str, object]:
    return value if isinstance(value, dict) else {"": value}


def _amount(value: object) -> object:
    if isinstance(value, Mapping) and "value" in value:
        return value["value"]
    return _listed(value)


def _unit(value: object) -> str:
    return str(value.get("unit") or "") if isinstance(value, Mapping) else ""


def _words(label: Label, value: object) -> object:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return label.values.get(str(value), _listed(value))


def _listed(value: object) -> object:
    """Lists and what is left of structures as one line of text; the rest as it is."""
    if isinstance(value, Mapping):
        return _joined(f"{key} {_listed(part)}" for key, part in value.items())
    if isinstance(value, list):
        return _joined(str(_listed(part)) for part in value)
    return value


def _joined(parts: Iterable[str]) -> str:
    return ", ".join(parts)


def _is_number(value: object) -> bool:
    if isinstance(value, bool) or not isinstance(value, str | int):
        return False
    text = str(value).removeprefix("-")
    return text.replace(".", "", 1).isascii() and text.replace(".", "", 1).isdigit()
