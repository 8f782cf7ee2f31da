"""Addresses of things that are there, for calls that shall get further than a 404."""

from typing import Any

from stations.gateways.schemas import SHOT
from tests.permissions.world import World

ROOT = "/api/v1/"
# What the first part of an address names, by the key of the permission matrix's world.
KINDS = {
    "machine-types": "machine_type",
    "calibrations": "calibration",
    "change-requests": "request",
    "coffees": "coffee",
    "kept-charts": "kept_chart",
    "lots": "opening",
    "menus": "menu",
    "menu-versions": "menu_draft",
    "findings": "finding",
    "grinders": "grinder",
    "entries": "entry",
    "history": "entry",
    "machines": "machine",
    "people": "person",
    "permit-requests": "request",
    "permits": "permit",
    "publications": "publication",
    "recipes": "recipe",
    "shots": "shot",
    "shot-fits": "fit",
    "sites": "site_code",
    "slots": "slot",
    "stations": "station",
    "tablets": "tablet",
    "tastings": "tasting",
    "versions": "draft",
}


def known(world: World, path: str) -> dict[str, Any]:
    """The ids or codes to put into a described path such as /api/v1/coffees/{id}/lots/."""
    parts = path.removeprefix(ROOT).split("/")
    if "/variants/" in path:
        address = world.address("variant", "own")
        return {"id": address["pk"], "machine_type": address["machine_type"]}
    kind = next((part for part in parts if part in KINDS), "")
    if "/schemas/" in path:
        return {"name": SHOT}
    if path.startswith(f"{ROOT}history/of/"):
        return world.address("timeline", "own")
    if "{" not in path or not kind:
        return {}
    address = world.address(KINDS[kind], "own")
    return {"id" if name == "pk" else name: value for name, value in address.items()}
