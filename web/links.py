"""Links to pages of a folder above: a page offers one where somebody has registered it.

A folder may not name the addresses of those above it. It names what it offers, such as
"ask_for_change", and the folder that has the page says so when the program starts.
"""

from django.urls import reverse

_LINKS: dict[str, str] = {}


def register_link(name: str, url_name: str) -> None:
    """Say which page is meant by the name. Called once, when the program starts."""
    _LINKS[name] = url_name


def link_to(name: str, *args: object) -> str:
    """The address of that page; empty where nobody has it."""
    url_name = _LINKS.get(name)
    return reverse(url_name, args=args) if url_name else ""
