"""Every address of the program, with something in each of its places."""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from django.http import HttpResponse
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.urls.converters import IntConverter
from rest_framework.views import APIView


class Address(NamedTuple):
    """One: its name, the address with made-up things in it, and what answers there."""

    name: str
    url: str
    view: Callable[..., HttpResponse]


def endpoint_of(address: Address) -> type[APIView] | None:
    """The endpoint's class; None for a page."""
    found: type[APIView] | None = getattr(address.view, "cls", None)
    return found


def methods_of(address: Address) -> set[str]:
    """What an endpoint answers to."""
    known = {"get", "post", "put", "patch", "delete"}
    return {method for method in known if hasattr(endpoint_of(address), method)}


def every_address() -> Iterator[Address]:
    """All that are made of plain places; the library's own of regular expressions are left out."""
    yield from _under(get_resolver().url_patterns, "")


def _under(patterns: list[URLPattern | URLResolver], space: str) -> Iterator[Address]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{space}{pattern.namespace}:" if pattern.namespace else space
            yield from _under(pattern.url_patterns, inner)
        elif hasattr(pattern.pattern, "_route"):
            made_up = {
                key: 1 if isinstance(place, IntConverter) else "harbour"
                for key, place in pattern.pattern.converters.items()
            }
            name = f"{space}{pattern.name}"
            yield Address(name, reverse(name, kwargs=made_up), pattern.callback)
