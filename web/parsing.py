"""Reading a request's JSON: no digit is lost, and no name that means nothing is passed over."""

import json
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from itertools import islice
from typing import IO, Any, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.fields import DictField, Field, ListField
from rest_framework.parsers import BaseParser
from rest_framework.serializers import ListSerializer, Serializer


class ExactJSONParser(BaseParser):
    """JSON whose numbers become exact decimals, never binary floats; NaN and Infinity refused."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:  # noqa: ANN401
        """The parsed body. Raises ParseError (400) on anything that is not UTF-8 JSON."""
        try:
            text = stream.read().decode("utf-8")
            parsed = json.loads(
                text, parse_float=Decimal, parse_constant=_refuse, object_pairs_hook=_once
            )
            if "\\u" in text:
                # Half a surrogate pair, as an escape, is text that can neither be stored nor
                # quoted back: encoding it finds it.
                json.dumps(parsed, ensure_ascii=False, default=str).encode()
            return parsed
        except RecursionError as deep:
            raise ParseError("The body is nested too deeply.") from deep
        except (ValueError, InvalidOperation) as bad:
            raise ParseError(f"The body is not JSON in UTF-8: {bad}") from bad


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")


def _once(members: list[tuple[str, Any]]) -> dict[str, Any]:
    """An object; a name given twice is refused, since readers differ on which one counts."""
    named = dict(members)
    if len(named) < len(members):
        raise ValueError("a name is given twice in one object")
    return named


# Names in a body that its description does not have.

UNKNOWN_TOLD = 10  # unknown names told at one place; more would only make the answer long
AnyField = Field[Any, Any, Any, Any]


def unknown_fields(field: AnyField | None, sent: object) -> dict[Any, Any]:
    """What is not known, as REST framework words errors: by name, nested like the body."""
    problems: dict[Any, Any] = {}
    if isinstance(field, Serializer) and isinstance(sent, Mapping):
        words = [f"Not known here: give {', '.join(field.fields)}."]
        unknown = (str(name) for name in sent if name not in field.fields)
        problems = dict.fromkeys(islice(unknown, UNKNOWN_TOLD), words)
    deeper = ((name, unknown_fields(inner, item)) for name, inner, item in _inside(field, sent))
    return problems | dict(islice((pair for pair in deeper if pair[1]), UNKNOWN_TOLD))


def _inside(field: AnyField | None, sent: object) -> Iterator[tuple[Any, AnyField | None, object]]:
    """The parts of a body with the fields that describe them."""
    if isinstance(field, Serializer) and isinstance(sent, Mapping):
        yield from ((name, f, sent[name]) for name, f in field.fields.items() if name in sent)
    elif isinstance(field, ListSerializer | ListField) and isinstance(sent, list):
        yield from ((place, field.child, item) for place, item in enumerate(sent))
    elif isinstance(field, DictField) and isinstance(sent, Mapping):
        yield from ((name, field.child, item) for name, item in sent.items())
