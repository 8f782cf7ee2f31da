"""Who saw which state when, for pages, alarms and whatever is taken away."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db.models import OuterRef, QuerySet, Subquery
from django.urls import reverse
from django.utils import timezone

from audit.alarms import Alarm, register_alarm
from audit.ledger.bundle.asked import Rule
from audit.ledger.checkpoint import read_checkpoint
from audit.ledger.errors import LedgerError
from audit.ledger.note import read_note
from audit.ledger.witness.cosignature import cosignatures
from audit.ledger.witness.known import KnownWitness
from audit.sealing.models import Checkpoint
from audit.witnessing.models import Cosignature, WitnessEvent, WitnessEventKind
from audit.witnessing.policy import rule_in_force

LOOKED_AT = 20  # rows of one witness, where the first ones do not hold
CARRIED = 32  # cosignatures on one checkpoint that are taken away with it


def holds(known: KnownWitness, row: Cosignature, note: str) -> bool:
    """Whether it is this witness's over that checkpoint: whoever may write SQL can add rows."""
    try:
        found = cosignatures(note + row.line, [known.key])
        return bool(found) and read_checkpoint(note).size == row.size
    except LedgerError:
        return False


def newest_seen(known: KnownWitness) -> Cosignature | None:
    """The largest state it cosigned, by a row that holds."""
    rows = _with_notes([known.key.text]).order_by("-size", "-id")[:LOOKED_AT]
    return next((row for row in rows if holds(known, row, _note_of(row))), None)


def newest_witnessed() -> Checkpoint | None:
    """The newest state that a witness of this deployment cosigned."""
    rows = filter(None, map(newest_seen, settings.LEDGER_WITNESSES))
    newest = max(rows, key=lambda row: row.size, default=None)
    return Checkpoint.objects.filter(pk=newest.checkpoint_id).first() if newest else None


def has(known: KnownWitness, checkpoint: Checkpoint) -> bool:
    """Whether it cosigned this one."""
    rows = Cosignature.objects.filter(checkpoint_id=checkpoint.pk, witness=known.key.text)
    return any(holds(known, row, checkpoint.note) for row in rows)


def _with_notes(keys: list[str]) -> QuerySet[Cosignature]:
    notes = Checkpoint.objects.filter(pk=OuterRef("checkpoint_id")).values("note")
    return Cosignature.objects.filter(witness__in=keys).annotate(note=Subquery(notes))


def _note_of(row: Cosignature) -> str:
    """Of a row of `_with_notes`; empty if its checkpoint is gone."""
    return getattr(row, "note", None) or ""


def newest_event(known: KnownWitness) -> WitnessEvent | None:
    """What it came to do last."""
    return WitnessEvent.objects.filter(witness=known.key.text).order_by("-id").first()


@dataclass(frozen=True, slots=True)
class Standing:
    """A witness of this deployment: what it saw last, and what it came to do."""

    known: KnownWitness
    seen: Cosignature | None
    event: WitnessEvent | None
    forged: bool = False  # a row in its name does not hold

    @property
    def refuses(self) -> bool:
        """Whether it says that it saw another history."""
        return bool(self.event) and self.event.kind == WitnessEventKind.REFUSED  # type: ignore[union-attr]

    @property
    def silent(self) -> bool:
        """Whether it gives no cosignature."""
        return bool(self.event) and self.event.kind == WitnessEventKind.SILENT  # type: ignore[union-attr]

    @property
    def size(self) -> int:
        """Entries it saw."""
        return self.seen.size if self.seen else 0


@dataclass(frozen=True, slots=True)
class Witnessing:
    """All of them, how many are needed, up to where so many saw it, and since when more waits."""

    standings: list[Standing]
    needed: int
    size: int
    since: datetime | None
    rule: Rule | None = None  # what the policy asks beside the settings

    @property
    def asked(self) -> str:
        """How many of how many, as words: by the settings, and by the policy."""
        known = sum(1 for one in self.standings if one.known.url)
        parts = [f"{self.needed} of {known} witnesses"] if known else []
        if self.rule:
            named = ", ".join(key.name for key in self.rule.witnesses)
            parts.append(f"{self.rule.needed} of {named}, as the policy asks")
        return " and by ".join(parts)

    @property
    def late(self) -> bool:
        """Whether what is signed has waited too long to be seen."""
        if self.since is None:
            return False
        return (timezone.now() - self.since).total_seconds() > settings.LEDGER_WITNESS_LATE

    @property
    def refusing(self) -> list[Standing]:
        """Those who say that they saw another history."""
        return [one for one in self.standings if one.refuses]


def witnessing_now() -> Witnessing | None:
    """What the witnesses saw; None without any. A few index probes, however many checkpoints."""
    rule = rule_in_force()
    known = _known(rule)
    if not known:
        return None
    keys = [one.key.text for one in known]
    seen = _with_notes(keys).order_by("witness", "-size", "-id").distinct("witness")
    events = WitnessEvent.objects.filter(witness__in=keys).order_by("witness", "-id")
    sights = {row.witness: row for row in seen}
    last = {row.witness: row for row in events.distinct("witness")}
    standings = [
        _standing(one, sights.get(key), last.get(key)) for one, key in zip(known, keys, strict=True)
    ]
    needed = settings.LEDGER_WITNESSES_NEEDED
    sizes = [_seen_by([one for one in standings if one.known.url], needed)] if needed else []
    if rule:
        named = [one for one in standings if one.known.key in rule.witnesses]
        sizes.append(_seen_by(named, rule.needed))
    size = min(sizes)
    waiting = Checkpoint.objects.filter(size__gt=size).order_by("size").first()
    return Witnessing(standings, needed, size, waiting.made_at if waiting else None, rule)


def _known(rule: Rule | None) -> list[KnownWitness]:
    """Those of the settings, and those of the policy that the settings no longer know: they are
    asked for, and nobody offers them anything."""
    known = list(settings.LEDGER_WITNESSES)
    keys = {one.key for one in known}
    return known + [
        KnownWitness(key, "") for key in (rule.witnesses if rule else ()) if key not in keys
    ]


def _seen_by(standings: list[Standing], needed: int) -> int:
    """Up to where so many of them saw it."""
    return sorted((one.size for one in standings), reverse=True)[needed - 1]


def _standing(known: KnownWitness, row: Cosignature | None, event: WitnessEvent | None) -> Standing:
    if row is None or holds(known, row, _note_of(row)):
        return Standing(known, row, event)
    return Standing(known, newest_seen(known), event, forged=True)


@register_alarm
def unwitnessed() -> Iterator[Alarm]:
    """A witness that saw another history, and what too few witnesses have seen for too long."""
    now = witnessing_now()
    if now is None:
        return
    page = reverse("audit:ledger") + "#witnesses"
    for one in now.refusing:
        if one.event:
            words = f"The witness {one.known.key.name} refuses to cosign. {one.event.words}"
            yield Alarm(words, page, since=one.event.at)
    for one in now.standings:
        if one.forged:
            words = (
                f"What is kept as cosigned by {one.known.key.name} does not hold: the row or its "
                "checkpoint was changed, or somebody added it."
            )
            yield Alarm(words, page)
    if now.late:
        words = f"The history after entry no. {now.size:,} was not seen by {now.asked}."
        yield Alarm(words, page, "overdue", since=now.since)


def lines_of(checkpoints: Iterable[Checkpoint]) -> dict[int, list[Cosignature]]:
    """The cosignatures on each of these, in one query."""
    by_checkpoint: dict[int, list[Cosignature]] = defaultdict(list)
    ids = [row.pk for row in checkpoints]
    for row in Cosignature.objects.filter(checkpoint_id__in=ids).order_by("id"):
        by_checkpoint[row.checkpoint_id].append(row)
    return by_checkpoint


def cosigned(checkpoint: Checkpoint) -> str:
    """Its note with the cosignatures there are."""
    lines = [row.line for row in lines_of([checkpoint])[checkpoint.pk]]
    return with_lines(checkpoint.note, lines)


def with_lines(note: str, lines: Iterable[str]) -> str:
    """A note with cosignatures after it, but for lines that would make it another note or none."""
    fit = [line for line in lines if _goes_with(note, line)]
    return note + "".join(fit[:CARRIED])


def _goes_with(note: str, line: str) -> bool:
    try:
        return read_note(note + line).text == read_note(note).text
    except LedgerError:
        return False
