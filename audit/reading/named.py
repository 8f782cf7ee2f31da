"""What keys in entries lead to, by name and page: one query for each kind of thing on a page."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field

from django.db.models import Model
from django.urls import NoReverseMatch, reverse

from audit.capture.models import Entry
from audit.reading.labels import Label, label_of
from audit.registry import kind_of

Target = type[Model] | str  # a model, or a type of subject where a column says which
Key = tuple[Target, int]


@dataclass(frozen=True, slots=True)
class Thing:
    """What a key leads to: its name today, its page if it has one."""

    name: str
    url: str = ""

    def __str__(self) -> str:
        return self.name


@dataclass(frozen=True, slots=True)
class Names:
    """The things that some entries name."""

    known: Mapping[Key, Thing] = field(default_factory=dict)

    def thing(self, target: Target, value: object) -> Thing | str | None:
        """The thing of that key; of one that is gone, or was never looked up, its number."""
        if not isinstance(value, int | str) or not str(value).isdigit():
            return None if value is None else str(value)
        return self.known.get((target, int(value))) or f"#{value}"


NOBODY = Names()


def target_of(entry: Entry, label: Label) -> Target | None:
    """What the keys of a column lead to: a model, or the kind that another column names."""
    if not label.kind_column:
        return label.target
    kinds = entry.changes.get(label.kind_column) or []
    kind = next((str(each) for each in reversed(kinds) if each), "")
    return kind if kind_of(kind) else None


def names_in(entries: Iterable[Entry]) -> Names:
    """Names of everything that these entries lead to, however many they are."""
    wanted: dict[Target, set[int]] = {}
    for entry in entries:
        for column, values in entry.changes.items():
            target = target_of(entry, label_of(entry.table_name, column))
            if target:
                wanted.setdefault(target, set()).update(_keys(values))
    found: dict[Key, Thing] = {}
    for target, keys in wanted.items():
        named = _by_kind(target, keys) if isinstance(target, str) else _stored(target, keys)
        found |= {(target, key): thing for key, thing in named.items()}
    return Names(found)


def _keys(values: object) -> set[int]:
    keys = values if isinstance(values, list) else []
    return {int(key) for key in keys if isinstance(key, int | str) and str(key).isdigit()}


def _by_kind(type_: str, keys: Collection[int]) -> dict[int, Thing]:
    """Things that are called by their number, and by what their kind says beside it."""
    kind = kind_of(type_)
    word = kind.word if kind else type_
    beside = kind.beside(keys) if kind and kind.beside else {}
    more = {key: f" · {words}" for key, words in beside.items()}
    return {
        key: Thing(f"{word} {key}{more.get(key, '')}", page_of_thing(type_, key)) for key in keys
    }


def _stored(model: type[Model], keys: Iterable[int]) -> dict[int, Thing]:
    # With whatever their names are made of, so that no name costs a query of its own.
    rows = model._base_manager.select_related().filter(pk__in=keys)
    type_ = str(model._meta.verbose_name)
    return {row.pk: Thing(str(row), page_of_thing(type_, row.pk)) for row in rows}


def page_of_thing(type_: str, pk: int | None) -> str:
    """A thing's own page, or nothing if its kind has none."""
    kind = kind_of(type_)
    if not kind or not kind.url_name or pk is None:
        return ""
    try:
        return reverse(kind.url_name, args=[pk])
    except NoReverseMatch:
        return ""
