"""Addresses of things that are there, for calls that shall get further than a 404."""

from typing import Any

from tests.permissions.world import World

ROOT = "/api/v1/"
# What the first part of an address names, by the key of the permission matrix's world.
KINDS = {
    "ability-sets": "abilities",
    "change-requests": "request",
    "coffees": "coffee",
    "history": "entry",
    "machines": "machine",
    "people": "person",
    "permits": "permit",
    "publications": "publication",
    "recipes": "recipe",
    "sites": "site_code",
    "slots": "slot",
    "stations": "station",
    "versions": "draft",
}


def known(world: World, path: str) -> dict[str, Any]:
    """The ids or codes to put into a described path such as /api/v1/coffees/{id}/lots/."""
    kind = path.removeprefix(ROOT).split("/")[0]
    if "{" not in path or kind not in KINDS:
        return {}
    address = world.address(KINDS[kind], "own")
    return {"id" if name == "pk" else name: value for name, value in address.items()}
