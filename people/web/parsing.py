"""Reading a request's JSON without losing a digit."""

import json
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import IO, Any, NoReturn

from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser


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
