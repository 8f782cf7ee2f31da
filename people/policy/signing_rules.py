"""What the policy asks of signatures: written with it, and who could then sign nothing."""

from collections.abc import Iterable, Mapping, Sequence

from allauth.mfa.models import Authenticator

from audit.errors import Invalid
from people.confirming.codes import Factors
from people.persons.models import Assignment
from people.persons.verbs import MAY, Role
from people.signatures.rules import SIGNERS, VERBS, Meaning, Need, SigningRule, meets, strongest

Rules = Mapping[tuple[str, str], str]
"""(meaning, role) to what is needed; an empty one stands for all."""


def rules_in_force() -> Rules:
    """What is asked now."""
    rows = SigningRule.objects.order_by("meaning", "role")
    return {(row.meaning, row.role): row.needs for row in rows}


def require_known(rules: Rules) -> None:
    """Raise Invalid for a meaning, role or need that there is not."""
    for (meaning, role), needs in rules.items():
        if meaning not in ("", *Meaning.values) or role not in ("", *SIGNERS):
            known = ", ".join([*Meaning.values, *(each.value for each in SIGNERS)])
            raise Invalid("signing", f"{meaning} {role}".strip(), f"one of {known}")
        if needs not in Need.values:
            raise Invalid("signing", needs, "one of " + ", ".join(Need.values))


def wanted(rules: Rules | None, *, acknowledged: bool) -> Rules:
    """The rules to sign for: these, or those in force. Raises Invalid (signing, acknowledged)."""
    chosen = rules_in_force() if rules is None else rules
    require_known(chosen)
    require_somebody(chosen, acknowledged=acknowledged)
    return chosen


def write(rules: Rules) -> None:
    """Make these the ones in force."""
    kept = rules_in_force()
    for (meaning, role), needs in rules.items():
        if kept.get((meaning, role)) != needs:
            SigningRule.objects.update_or_create(
                meaning=meaning, role=role, defaults={"needs": needs}
            )
    for meaning, role in kept.keys() - rules.keys():
        SigningRule.objects.filter(meaning=meaning, role=role).delete()


def as_seen(rules: Rules) -> list[dict[str, str]]:
    """As codes, in one order, for the digest."""
    return [
        {"meaning": meaning, "role": role, "needs": needs}
        for (meaning, role), needs in sorted(rules.items())
    ]


def need_under(rules: Rules, meaning: str, role: str) -> Need | None:
    """What these rules ask of such a signature."""
    fitting = ((m, r) for m in ("", meaning) for r in ("", role))
    return strongest(rules[each] for each in fitting if each in rules)


def left_to_nobody(rules: Rules) -> list[str]:
    """The kinds of signature that nobody who may give them has what is asked for, in words."""
    holders = _holders()
    return [
        Meaning(meaning).label
        for meaning, verb in VERBS.items()
        if _anybody(holders, MAY[verb]) and not _able(rules, meaning, holders, MAY[verb])
    ]


Holders = Mapping[str, Sequence[Factors]]


def _holders() -> Holders:
    """What the people of each role have beside their password. Two queries."""
    types: dict[int, set[str]] = {}
    for person, type_ in Authenticator.objects.values_list("user_id", "type"):
        types.setdefault(person, set()).add(type_)
    held = Assignment.objects.filter(user__is_active=True).values_list("role", "user_id")
    holders: dict[str, list[Factors]] = {}
    for role, person in held.distinct():
        has = types.get(person, set())
        factors = Factors(Authenticator.Type.TOTP in has, Authenticator.Type.WEBAUTHN in has)
        holders.setdefault(role, []).append(factors)
    return holders


def _anybody(holders: Holders, roles: Iterable[Role]) -> bool:
    return any(role in holders for role in roles)


def _able(rules: Rules, meaning: str, holders: Holders, roles: Iterable[Role]) -> bool:
    return any(
        meets(factors, need_under(rules, meaning, role))
        for role in roles
        for factors in holders.get(role, ())
    )


def require_somebody(rules: Rules, *, acknowledged: bool) -> None:
    """Raise Invalid where a kind of signature would be left to nobody, unless that is accepted."""
    stuck = left_to_nobody(rules)
    if stuck and not acknowledged:
        allowed = (
            "a tick, which accepts that until somebody who may has added what is asked, nobody "
            f"can sign: {', '.join(stuck)}"
        )
        raise Invalid("acknowledged", "", allowed)
