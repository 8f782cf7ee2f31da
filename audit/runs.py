"""A run over the whole history: asked for, taken by one worker at a time, and ended once.

Checks and reconciliations are such runs. Whoever takes one says now and then that it is still at
it; one that its worker did not survive is taken up anew, a few times. Their tables have the
columns `state`, `runner`, `attempts`, `seen_at`, `finished_at` and `verdict`.
"""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby
from typing import Any, Generic, TypeVar

import pgtrigger
from celery.exceptions import SoftTimeLimitExceeded
from django.db import IntegrityError, models, transaction
from django.db.models import F, Q, QuerySet
from django.db.models.functions import Now

from audit.capture.context import Actor, recorded
from audit.capture.triggers import FirmTrigger, refusal
from audit.errors import Refused, Subject

ATTEMPTS = 3  # one that its worker did not survive so often is not tried again
NOBODY = "No worker was running it any more."
TOO_LONG = "It took longer than a worker is given."
FAILED = "The program failed."
R = TypeVar("R", bound=models.Model)
L = TypeVar("L")


class RunState(models.TextChoices):
    """Where a run is in its life."""

    RUNNING = "running", "under way"
    DONE = "done", "finished"
    STOPPED = "stopped", "stopped"


class TakenOverError(Exception):
    """Somebody stopped this run, or another worker has it now."""


@dataclass(frozen=True)
class Runs(Generic[R]):
    """The runs of one kind, called `word` and as a `subject`, silent after so long.

    `asking`, `ending` and `stopping` are the actions of asking for one, of its end, and of stopping
    it; `advice` is what to do where none comes to an end.
    """

    model: type[R]
    word: str
    subject: str
    silence: timedelta
    asking: str
    ending: str
    stopping: str
    advice: str = ""

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

    def begin(self, *, by: Actor | None, **fields: object) -> R | None:
        """One to be run, for nobody in particular at night; None while another is under way.

        One nobody is at any more is stopped first.
        """
        self.stop_silent()
        asked: dict[str, Any] = {"asked_by_id": by.pk, "asked_by": by.name} if by else {}
        try:
            with recorded(by=by, action=self.asking), transaction.atomic():
                return self.model._default_manager.create(**asked, **fields)
        except IntegrityError:
            return None

    def under_way(self) -> Refused:
        """What whoever asks meanwhile is told."""
        other: Any = self.running().first()
        who = f", asked for by {other.asked_by}" if other and other.asked_by else ""
        return Refused(
            f"A {self.word} is under way already{who}: its answer is yours as well.",
            who_may="Any owner of all sites, once it has ended",
            how_to_ask=f"Wait for its answer, then ask for another {self.word} if you need one.",
            subject=Subject(self.subject, other.pk, str(other)) if other else None,
        )

    def claim(self, pk: int, **begins: object) -> R | None:
        """Take one for this worker; None if it has ended or another is at it."""
        taken = self.unattended().filter(pk=pk).update(
            runner=secrets.token_hex(8), attempts=F("attempts") + 1, seen_at=Now(), **begins
        )  # fmt: skip
        return self.model._default_manager.get(pk=pk) if taken else None

    def run(self, pk: int, work: Callable[[R], Mapping[str, object]], **begins: object) -> bool:
        """Take one and do its work, whose outcome ends it, unless it has ended or another worker is
        at it; whether this call ended it."""
        claimed: Any = self.claim(pk, **begins)
        if claimed is None:
            return False
        try:
            outcome = work(claimed)
            return self.end(claimed, action=self.ending, state=RunState.DONE, **outcome)
        except TakenOverError:
            return False
        except SoftTimeLimitExceeded:
            return self._stop(claimed, TOO_LONG)
        except Exception:
            if claimed.attempts >= ATTEMPTS:
                self._stop(claimed, FAILED)
            raise

    def alive(self, claimed: R, **fields: object) -> None:
        """Say that its worker is still at it. Raises TakenOverError if another has it now."""
        if not self._mine(claimed).update(seen_at=Now(), **fields):
            raise TakenOverError

    def _mine(self, claimed: Any) -> QuerySet[R]:  # noqa: ANN401  a row of the model
        return self.running().filter(pk=claimed.pk, runner=claimed.runner)

    def _stop(self, claimed: R, why: str) -> bool:
        words = f"{why} {self.advice}".rstrip()
        return self.end(claimed, action=self.stopping, state=RunState.STOPPED, verdict=words)

    def end(self, claimed: R, *, action: str, **fields: object) -> bool:
        """End it with an entry of the history; False if it was no longer this worker's."""
        with recorded(by=None, action=action):
            return bool(self._mine(claimed).update(finished_at=Now(), **fields))

    def stop_silent(self) -> None:
        """Stop one that nobody is at any more."""
        with recorded(by=None, action=self.stopping, reason=NOBODY):
            self.silent().update(state=RunState.STOPPED, finished_at=Now(), verdict=NOBODY)


@dataclass(frozen=True, slots=True)
class Group(Generic[L]):
    """What a run found of one kind: the word, what it means, the first, and how many more."""

    kind: str
    word: str
    meaning: str
    lines: list[L]
    more: int


def groups_of(
    run: Any,  # noqa: ANN401  a row with `findings` and `counts`
    meaning: Mapping[Any, tuple[str, str]],
    line: Callable[[Mapping[str, Any]], L],
) -> list[Group[L]]:
    """Its findings by kind, in the order of `meaning`, each as a line of a page."""
    order = {str(kind): at for at, kind in enumerate(meaning)}
    words = {str(kind): told for kind, told in meaning.items()}
    rows = sorted(run.findings, key=lambda one: order[one["kind"]])
    groups = []
    for kind, members in groupby(rows, key=lambda one: str(one["kind"])):
        lines = [line(one) for one in members]
        groups.append(Group(kind, *words[kind], lines, run.counts[kind] - len(lines)))
    return groups


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
