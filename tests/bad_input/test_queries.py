"""What an address's query says is never passed over: unknown, empty and doubled are refused.

Of every endpoint, by its own description.
"""

from collections.abc import Iterator

import pytest
from django.urls import get_resolver
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from audit.endpoint import Endpoint
from tests.bad_input.asking import Answer
from tests.bad_input.described import operations
from tests.bad_input.known import known
from tests.bad_input.test_addresses import get_as_any
from tests.bad_input.things import Things

pytestmark = pytest.mark.django_db
ITS_OWN = (SpectacularAPIView, SpectacularSwaggerSplitView)  # the description itself


def test_every_endpoint_is_one_that_looks() -> None:
    found = [each for each in _views(get_resolver().url_patterns) if each not in ITS_OWN]
    assert len(found) > 80
    assert [each for each in found if not issubclass(each, Endpoint)] == []


def _views(patterns: object) -> Iterator[type]:
    """The classes of all endpoints below some addresses."""
    assert isinstance(patterns, list)
    for each in patterns:
        inner = getattr(each, "url_patterns", None)
        if inner is not None:
            yield from _views(inner)
        elif hasattr(each.callback, "cls"):
            yield each.callback.cls


def _refused(answer: Answer, name: str) -> bool:
    return answer.status == 400 and name in answer.fields


def _slips(things: Things, path: str, named: list[str]) -> Iterator[str]:
    """What one endpoint takes although it should not, or does not explain."""
    url = path.format(**known(things.world, path))
    asked: list[tuple[str, dict[str, str] | str]] = [("colour", {"colour": "red"})]
    asked += [("format", {"format": "json"}), ("format", {"format": "xml"})]
    asked += [(name, {name: ""}) for name in named]
    asked += [(name, f"{name}=1&{name}=2") for name in named]
    for name, query in asked:
        answer = get_as_any(things, url, query)  # type: ignore[arg-type]
        if not _refused(answer, name):
            yield f"{url} {query}: {answer.status} {answer.detail[:100]}"
        elif name == "colour" and not all(each in answer.detail for each in named):
            yield f"{url} does not say what is allowed: {answer.detail}"


def test_no_endpoint_passes_over_what_it_was_asked(things: Things) -> None:
    found = [(path, each) for path, method, each in operations() if method == "GET"]
    assert len(found) > 50
    slips = [
        slip
        for path, operation in found
        for slip in _slips(
            things, path, [p["name"] for p in operation.get("parameters", []) if p["in"] == "query"]
        )
    ]
    assert not slips, "\n" + "\n".join(slips)
