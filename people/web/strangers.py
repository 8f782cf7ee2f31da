"""Names in a body that its description does not have."""

from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

from rest_framework.fields import DictField, Field, ListField
from rest_framework.serializers import ListSerializer, Serializer

TOLD = 10  # strangers named at one place; more would only make the answer long
AnyField = Field[Any, Any, Any, Any]


def strangers(field: AnyField | None, sent: object) -> dict[Any, Any]:
    """What is not known, as REST framework words errors: by name, nested like the body."""
    found: dict[Any, Any] = {}
    if isinstance(field, Serializer) and isinstance(sent, Mapping):
        told = [f"Not known here: give {', '.join(field.fields)}."]
        unknown = (str(name) for name in sent if name not in field.fields)
        found = dict.fromkeys(islice(unknown, TOLD), told)
    deeper = ((name, strangers(inner, item)) for name, inner, item in _inside(field, sent))
    return found | dict(islice((pair for pair in deeper if pair[1]), TOLD))


def _inside(field: AnyField | None, sent: object) -> Iterator[tuple[Any, AnyField | None, object]]:
    """The parts of a body with the fields that describe them."""
    if isinstance(field, Serializer) and isinstance(sent, Mapping):
        yield from ((name, f, sent[name]) for name, f in field.fields.items() if name in sent)
    elif isinstance(field, ListSerializer | ListField) and isinstance(sent, list):
        yield from ((place, field.child, item) for place, item in enumerate(sent))
    elif isinstance(field, DictField) and isinstance(sent, Mapping):
        yield from ((name, field.child, item) for name, item in sent.items())
