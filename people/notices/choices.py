"""What a person chooses, and what an owner asks everybody to hear of."""

from collections.abc import Mapping

from django.db import transaction

from audit.capture.context import recorded
from audit.errors import Stale, Subject
from audit.vocabulary import register
from people.notices.hearing import kinds_heard_by
from people.notices.kinds import AtLeast, How, kinds, sooner
from people.notices.models import Choice, NoticeRule, Reader, Weekday
from people.notices.stopping import choose
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from web.checks import Checks

RULES_SET = register("notices.set", "Set what everybody hears of")


def rules() -> dict[str, str]:
    """What an owner asks for at least, by kind."""
    return dict(NoticeRule.objects.values_list("kind", "at_least"))


def chosen_by(person: User) -> dict[str, str]:
    """How somebody hears of each kind that their roles bring: chosen, usual, or asked for."""
    chosen = dict(Choice.objects.filter(person=person).values_list("kind", "how"))
    asked, known = rules(), kinds()
    return {
        code: sooner(chosen.get(code, known[code].usual), asked.get(code))
        for code in kinds_heard_by(person)
    }


def set_choices(
    *, by: User, seen: Mapping[str, str], chosen: Mapping[str, str], hour: int, weekday: int
) -> None:
    """Keep what somebody chose; of a kind that reads as it was `seen`, nothing is kept.

    So what is usual may still change for whoever never chose. Raises Invalid (a kind, hour,
    weekday), PinNotEnough.
    """
    require_in_full(by, "choose what you hear of")
    checks, asked, mine = Checks(), rules(), set(kinds_heard_by(by))
    for kind, how in chosen.items():
        checks.that(kind in mine, "kind", kind, "a kind that your roles bring")
        checks.choice(kind, how, How.values)
        if kind in asked and how in How.values:
            least = AtLeast(asked[kind]).label.lower()
            allowed = f"at least {least}: an owner asks for that"
            checks.that(sooner(how, asked[kind]) == how, kind, how, allowed)
    checks.whole("hour", hour, 0, 23)
    checks.whole("weekday", weekday, 1, 7)
    checks.done()
    with transaction.atomic():
        choose(by.pk, [(kind, how) for kind, how in chosen.items() if seen.get(kind) != how])
        Reader.objects.update_or_create(
            person=by, defaults={"hour": hour, "weekday": Weekday(weekday)}
        )


def set_rules(*, by: User, seen: Mapping[str, str], wanted: Mapping[str, str]) -> None:
    """Ask everybody to hear of some kinds, and how soon at least; in the history.

    `seen`: what was asked for when this was decided. Raises Invalid, NotPermitted, Stale.
    """
    with recorded(by=by, action=RULES_SET, subject=Subject("policy", 1, "Policy")):
        require_everywhere(by, Verb.POLICY_SET)
        checks = Checks()
        for kind, least in wanted.items():
            checks.choice("kind", kind, kinds())
            checks.choice(kind, least, AtLeast.values)
        checks.done()
        now = dict(NoticeRule.objects.select_for_update().values_list("kind", "at_least"))
        _require_seen(seen, now)
        NoticeRule.objects.exclude(kind__in=wanted).delete()
        for kind, least in wanted.items():
            if now.get(kind) != least:
                NoticeRule.objects.update_or_create(kind=kind, defaults={"at_least": least})


def _require_seen(seen: Mapping[str, str], now: Mapping[str, str]) -> None:
    if dict(seen) != dict(now):
        raise Stale("It was changed meanwhile: look at the newest state.", 0)
