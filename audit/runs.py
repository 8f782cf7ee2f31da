"""A run over the whole history: asked for, taken by one worker at a time, and ended once.

Checks and reconciliations are such runs. Whoever takes one says now and then that it is still at
it; one that its worker did not survive is taken up anew, a few times. Their tables have the
columns `state`, `runner`, `attempts`, `seen_at`, `finished_at` and `verdict`.
"""

import secrets
from dataclasses import dataclass
from datetime import timedelta
from typing import Generic, TypeVar

import pgtrigger
from django.db import models
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.capture.triggers import FirmTrigger, refusal

ATTEMPTS = 3  # one that its worker did not survive so often is not tried again
NOBODY = "No worker was running it any more."
R = TypeVar("R", bound=models.Model)


class RunState(models.TextChoices):
    """Where a run is in its life."""

    RUNNING = "running", "under way"
    DONE = "done", "finished"
    STOPPED = "stopped", "stopped"


@dataclass(frozen=True)
class Runs(Generic[R]):
    """The runs of one kind: silent after so long; `stopping` is the action of stopping one."""

    model: type[R]
    silence: timedelta
    stopping: str

    def running(self) -> QuerySet[R]:
        """The one under way, if any."""
        return self.model._default_manager.filter(state=RunState.RUNNING)

    def silent(self) -> QuerySet[R]:
        """Nobody has been at it for a while: no worker is there, or the one that was has gone."""
        return self.running().filter(seen_at__lt=Now() - self.silence)

    def unattended(self) -> QuerySet[R]:
        """Asked for and not begun, or left by a worker that was killed."""
        left = Q(runner="") | Q(seen_at__lt=Now() - self.silence)
        return self.running().filter(left, attempts__lt=ATTEMPTS)

    def newest_answer(self) -> R | None:
        """The last one that came to an answer."""
        return self.model._default_manager.filter(state=RunState.DONE).order_by("-pk").first()

    def claim(self, pk: int, **begins: object) -> R | None:
        """Take one for this worker; None if it has ended or another is at it."""
        taken = self.unattended().filter(pk=pk).update(
            runner=secrets.token_hex(8), attempts=F("attempts") + 1, seen_at=Now(), **begins
        )  # fmt: skip
        return self.model._default_manager.get(pk=pk) if taken else None

    def mine(self, pk: int, runner: str) -> QuerySet[R]:
        """The same while it is still this worker's."""
        return self.running().filter(pk=pk, runner=runner)

    def end(self, pk: int, runner: str, *, action: str, **fields: object) -> bool:
        """End it with an entry of the history; False if it was no longer this worker's."""
        with recorded(by=None, action=action):
            return bool(self.mine(pk, runner).update(finished_at=Now(), **fields))

    def stop_silent(self) -> None:
        """Stop one that nobody is at any more."""
        with recorded(by=None, action=self.stopping, reason=NOBODY):
            self.silent().update(state=RunState.STOPPED, finished_at=Now(), verdict=NOBODY)


def kept_as_ended(one: str, several: str, asked: str) -> list[pgtrigger.Trigger]:
    """The database's own rules: what was asked for and what was found stay, for good.

    `one` and `several` begin the sentences; `asked` are the columns of the question, as of NEW.
    """
    kept = refusal(f"{one} that has ended stays in % as it ended.")
    changed = refusal("What was asked for in % never changes.")
    return [
        FirmTrigger(
            name="a_guard_update",
            operation=pgtrigger.Update,
            when=pgtrigger.Before,
            func=f"IF OLD.state <> 'running' THEN {kept} END IF;"
            f" IF {asked} IS DISTINCT FROM {asked.replace('NEW', 'OLD')} THEN {changed} END IF;"
            " RETURN NEW;",
        ),
        FirmTrigger(
            name="a_guard_delete",
            operation=pgtrigger.Delete,
            when=pgtrigger.Before,
            func=refusal(f"{several} in % are never removed.") + " RETURN OLD;",
        ),
    ]
