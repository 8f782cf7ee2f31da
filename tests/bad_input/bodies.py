"""Places in a JSON body: "formula.dose_mass.target", "slots.0"."""

from collections.abc import Iterator
from copy import deepcopy
from typing import Any


def places(body: object, prefix: str = "") -> Iterator[tuple[str, object]]:
    """Every place below the whole, with what stands there."""
    if isinstance(body, dict):
        inner = list(body.items())
    elif isinstance(body, list):
        inner = [(str(number), item) for number, item in enumerate(body[:1])]
    else:
        return
    for name, value in inner:
        place = f"{prefix}.{name}" if prefix else str(name)
        yield place, value
        yield from places(value, place)


def replaced(body: object, place: str, value: object) -> object:
    """The body with something else at one place."""
    changed = deepcopy(body)
    holder, last = _holder(changed, place)
    holder[last] = value
    return changed


def without(body: object, place: str) -> object:
    """The body without what stands there."""
    changed = deepcopy(body)
    holder, last = _holder(changed, place)
    del holder[last]
    return changed


def _holder(body: Any, place: str) -> tuple[Any, Any]:  # noqa: ANN401
    *path, last = place.split(".")
    for step in path:
        body = body[_key(body, step)]
    return body, _key(body, last)


def _key(holder: object, name: str) -> str | int:
    return int(name) if isinstance(holder, list) else name
