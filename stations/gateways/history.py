"""How the history names gateways."""

from collections.abc import Iterable

from audit.registry import register_subject
from stations.gateways.models import Gateway

FOUND_AT_MOST = 50


def register() -> None:
    """Called once, when the program starts."""
    register_subject("gateway", "Gateway", "stations:gateway", find=_named)


def _named(text: str) -> Iterable[tuple[int, str]]:
    named = Gateway.objects.filter(name__icontains=text)
    return named.values_list("pk", "name")[:FOUND_AT_MOST]
