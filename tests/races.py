"""Doing several things at the same moment, each on a connection of its own."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar

from django.db import connections

T = TypeVar("T")


def at_once(actions: Sequence[Callable[[], T]]) -> list[T | Exception]:
    """Run all together; what each returned or raised, in order."""
    gate = Barrier(len(actions))

    def run(action: Callable[[], T]) -> T | Exception:
        try:
            gate.wait(timeout=30)
            return action()
        except Exception as told:
            return told
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(actions)) as pool:
        return list(pool.map(run, actions))
