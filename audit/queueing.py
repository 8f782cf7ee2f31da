"""What is sent to the workers again and again waits in the queue once.

A mark in the quick cache says that a task waits; whoever takes it up removes it, and by itself it
ends after a while, for tasks that are lost. Its time is measured by the one clock of the broker, so
no machine's clock, ahead or behind, drops a task or holds it back.
"""

from collections.abc import Sequence

from celery import current_app

from audit.quick import quick

SOON = 30.0  # seconds after which one that waits may have been lost


def send_unless_waiting(task: str, args: Sequence[int] = (), *, seconds: float = SOON) -> bool:
    """Send a task by its registered name, unless the same waits already; whether it was sent."""
    if not mark(task, args, seconds=seconds):
        return False
    try:
        current_app.send_task(task, list(args))
    except BaseException:
        unmark(task, args)
        raise
    return True


def mark(task: str, args: Sequence[int] = (), *, seconds: float = SOON) -> bool:
    """Note that it waits; whether it did not before."""
    return bool(quick.add(_key(task, args), 1, seconds))


def unmark(task: str, args: Sequence[int] = ()) -> None:
    """It waits no more: it is taken up, or could not be sent."""
    quick.delete(_key(task, args))


def _key(task: str, args: Sequence[int]) -> str:
    return ":".join(["waiting", task, *map(str, args)])
