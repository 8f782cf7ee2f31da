"""The drivers that come along, and how another one is named: ``package.module:function``."""

import importlib
from collections.abc import Callable
from pathlib import Path

from gateway.driver import Driver

# A map (what the driver needs to know of the bar) and a folder it may keep things in.
Maker = Callable[[Path, Path], Driver]
OURS = {
    "simulated": "gateway.drivers.simulated:from_map",
    "modbus": "gateway.drivers.modbus:from_map",
}


class UnknownDriverError(Exception):
    """No such driver can be loaded."""


def driver(name: str, map_file: Path, folder: Path) -> Driver:
    """The driver of a name, made from its map. Raises UnknownDriverError, MapError."""
    module, _, function = OURS.get(name, name).partition(":")
    if not function:
        known = ", ".join(OURS)
        raise UnknownDriverError(f"no driver {name!r}: {known}, or package.module:function")
    try:
        maker: Maker = getattr(importlib.import_module(module), function)
    except (ImportError, AttributeError) as problem:
        raise UnknownDriverError(f"driver {name!r}: {problem}") from problem
    return maker(map_file, folder)
