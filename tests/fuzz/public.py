"""The public functions of the computing packages, found by looking."""

import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from types import ModuleType
from typing import Any

PACKAGES = ("stations.metrology", "recipes.brewing")


def modules() -> Iterator[tuple[str, ModuleType]]:
    """Every module, by its name below its package: "brewing.taste"."""
    for root in PACKAGES:
        package = importlib.import_module(root)
        for found in pkgutil.walk_packages(package.__path__, f"{root}."):
            yield found.name.partition(".")[2], importlib.import_module(found.name)


def functions() -> Iterator[str]:
    """Functions, and methods that take something: "brewing.taste.power"."""
    for short, module in modules():
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                continue
            if inspect.isfunction(thing):
                yield f"{short}.{name}"
            elif inspect.isclass(thing):
                yield from (f"{short}.{name}.{each}" for each in _methods(thing))


def _methods(kind: type[Any]) -> Iterator[str]:
    for name, thing in vars(kind).items():
        plain = thing.__func__ if isinstance(thing, classmethod) else thing
        if name.startswith("_") or not inspect.isfunction(plain):
            continue
        if len(inspect.signature(plain).parameters) > 1:
            yield name
