"""Logging check shots, and correcting one for the record."""

from dataclasses import replace
from datetime import datetime
from decimal import ROUND_FLOOR, Decimal

from django.dispatch import Signal

from audit.capture.context import recorded
from audit.errors import Invalid, Refused, Stale, Subject
from audit.vocabulary import register
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from stations.equipment.models import Slot
from stations.grinders.actions import SETTING, note_setting
from stations.grinders.models import Grinder
from stations.metrology.formula import BEVERAGE, DOSE, SHOT_TIME
from stations.metrology.solubles import MOST_SOLUBLE
from stations.shots.grinding import ground_with
from stations.shots.judging import BOUNDS, SAID, Weighed, cup_of, judge, overall
from stations.shots.models import Body, CheckShot, ShotCorrection, Taste
from stations.slots.models import Placement
from web.checks import Checks
from web.printing import SPACE, quantity
from web.printing import moment as printed_moment
from web.queued import checked, told_late

SHOT_LOGGED = register("shot.logged", "Logged check shot")
SHOT_CORRECTED = register("shot.corrected", "Corrected check shot")

NOTE_LENGTH = 500

# Sent in the transaction that logs or corrects a shot, with the ``station_id`` and the
# ``content_digest`` it was poured under: for whoever works something out from the shots.
shots_changed = Signal()


def log_shot(
    *, by: User, slot: Slot, shot: Weighed, grinder: Grinder | None = None,
    seen_placement: int | None = None, made_at: datetime | None = None,
) -> CheckShot:  # fmt: skip
    """Write down a shot pulled just now, with the verdict on each value that has a target.

    It belongs to what is in force at the slot at this moment, and to the lot that is open. Without
    a ``grinder`` it is the usual one of the slot; a mark other than it stood at goes to its log.
    ``seen_placement`` is the id of the placement whose card was looked at, ``made_at`` when it was
    pulled, where that was noted without a line. Raises Invalid, NotPermitted, Stale where the slot
    holds something else since, and Refused where nothing is in force.
    """
    site_id = slot.station.machine.site_id
    subject = Subject("slot", slot.pk, str(slot))
    late = told_late(made_at)
    with recorded(by=by, action=SHOT_LOGGED, reason=late, subject=subject, site_id=site_id):
        require(by, Verb.SHOT_LOG, site_id, subject)
        kept, moment = _checked(shot), checked(made_at)
        ground = ground_with(slot, grinder, kept.grind_setting, moment)
        kept = replace(kept, grind_setting=ground.setting)
        placement = _in_force(slot, subject)
        _same_as_seen(placement, seen_placement, moment)
        verdicts = judge(cup_of(placement), kept)
        if ground.grinder and kept.grind_setting is not None:
            note_setting(by, ground.grinder, kept.grind_setting, "Noted with a check shot", moment)
        _tell(slot, placement)
        return CheckShot.objects.create(
            slot=slot, site_id=site_id, placement=placement, by=by, verdicts=verdicts,
            verdict=overall(verdicts), grinder=ground.grinder, opening=ground.opening,
            **_measured(kept), **({"at": moment} if moment else {}),
        )  # fmt: skip


def _same_as_seen(placement: Placement, seen: int | None, made: datetime | None) -> None:
    """Raise Stale if the shot was pulled for something else than is in force now."""
    began = placement.started_at or placement.due_at
    if (seen is None or seen == placement.pk) and not (made and began > made):
        return
    zone = placement.slot.station.machine.site.time_zone
    raise Stale(
        f"This slot holds {placement.settings.title} since {printed_moment(began, zone)}, and the "
        "shot was pulled for what it held before. Sent again, it counts for what it holds now.",
        current_revision=placement.pk,
    )


def correct_shot(
    *, by: User, shot: CheckShot, seen_corrections: int, to: Weighed, reason: str
) -> CheckShot:
    """Say what a shot really was, or that it is to be left out; both stay on record.

    ``seen_corrections`` is how often it had been corrected when it was shown. Raises Invalid
    (also where nothing changes), Stale and NotPermitted.
    """
    subject = Subject("slot", shot.slot_id, str(shot.slot))
    with recorded(
        by=by, action=SHOT_CORRECTED, reason=reason, subject=subject, site_id=shot.site_id
    ):
        require(by, Verb.SHOT_LOG, shot.site_id, subject)
        current = (
            CheckShot.objects.select_for_update(of=("self",))
            .select_related("placement__settings")
            .get(pk=shot.pk)
        )
        if current.corrections != seen_corrections:
            raise Stale("This shot was corrected meanwhile.", current_revision=current.corrections)
        if not reason.strip():
            raise Invalid("reason", reason, "a sentence that says what was wrong")
        kept = _checked(to)
        if kept.grind_setting is not None and current.grinder_id is None:
            raise Invalid("grind_setting", kept.grind_setting, "nothing: no grinder is known of it")
        if _same(current, kept):
            raise Invalid(DOSE, kept.dose_mass, "at least one value that differs")
        _correct(current, kept, reason.strip(), by)
        _tell(shot.slot, current.placement)
        return current


def _tell(slot: Slot, placement: Placement) -> None:
    shots_changed.send(
        sender=CheckShot,
        station_id=slot.station_id,
        content_digest=placement.settings.content_digest,
    )


def _same(current: CheckShot, kept: Weighed) -> bool:
    return all(getattr(current, name) == value for name, value in _measured(kept).items())


def _correct(current: CheckShot, kept: Weighed, reason: str, by: User) -> None:
    """The correction first: the database lets the shot follow it, and nothing else."""
    current.corrections += 1
    measured = _measured(kept)
    ShotCorrection.objects.create(
        shot=current, number=current.corrections, reason=reason, by=by, **measured
    )
    for name, value in measured.items():
        setattr(current, name, value)
    current.verdicts = judge(cup_of(current.placement), kept)
    current.verdict = overall(current.verdicts)
    current.save(update_fields=[*measured, "corrections", "verdicts", "verdict"])


def _measured(shot: Weighed) -> dict[str, Decimal | str | bool | None]:
    values: dict[str, Decimal | str | bool | None] = {code: shot.value(code) for code in BOUNDS}
    said = {name: getattr(shot, name) for name in SAID}
    return {**values, **said, "note": shot.note, "left_out": shot.left_out}


def _checked(shot: Weighed) -> Weighed:
    """The shot within its bounds. Raises Invalid with every fault."""
    checks = Checks()
    kept = replace(
        shot,
        dose_mass=checks.number(DOSE, shot.dose_mass, BOUNDS[DOSE]),
        beverage_mass=checks.number(BEVERAGE, shot.beverage_mass, BOUNDS[BEVERAGE]),
        shot_time=checks.number(SHOT_TIME, shot.shot_time, BOUNDS[SHOT_TIME]),
        strength=checks.number_or_none("strength", shot.strength, BOUNDS["strength"]),
        note=shot.note.strip(),
        grind_setting=checks.number_or_none("grind_setting", shot.grind_setting, SETTING),
        taste=_tapped(checks, "taste", shot.taste, Taste.values),
        body=_tapped(checks, "body", shot.body, Body.values),
    )
    if len(kept.note) > NOTE_LENGTH or "\0" in kept.note:
        checks.fault("note", shot.note[:40], f"up to {NOTE_LENGTH} characters")
    checks.done()
    _held_by_coffee(kept)
    return kept


def _held_by_coffee(shot: Weighed) -> None:
    """Raise Invalid for a strength that would take more out of the coffee than can dissolve."""
    if shot.strength is None or shot.strength * shot.beverage_mass <= MOST_SOLUBLE * shot.dose_mass:
        return
    most = MOST_SOLUBLE * shot.dose_mass / shot.beverage_mass
    told = most.quantize(Decimal("0.1"), ROUND_FLOOR)  # rounded down: what is told is taken
    coffee = quantity(shot.dose_mass, "g").replace(SPACE, " ")
    words = f"at most {told} % here: of {coffee} of coffee {MOST_SOLUBLE} % can dissolve"
    raise Invalid("strength", shot.strength, words)


def _tapped(checks: Checks, name: str, value: str | None, known: list[str]) -> str | None:
    return checks.choice(name, value, known) if value else None


def _in_force(slot: Slot, subject: Subject) -> Placement:
    """What is in force, shared with others who only read it, so that it cannot end meanwhile."""
    rows = Placement.objects.in_force().filter(slot=slot)
    rows = rows.select_related("settings", "slot__station__machine__site")
    placement: Placement | None = rows.select_for_update(of=("self",)).first()
    if placement is None:
        # Something may have taken over while this waited for the one that ended.
        placement = rows.select_for_update(of=("self",)).first()
    if placement is None:
        raise Refused(
            "Nothing is in force in this slot, so there is nothing to check a shot against.",
            who_may="a head roaster, by publishing to it; a shop lead, by setting it by hand",
            how_to_ask="Ask your shop lead what this slot is for.",
            subject=subject,
            site_id=slot.station.machine.site_id,
        )
    return placement
