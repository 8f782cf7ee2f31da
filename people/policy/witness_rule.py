"""What the policy asks of the history's witnesses: which, and how many of them.

The settings know the witnesses and ask for a number of their own; both are to be met
(audit.witnessing.policy). So a policy can ask for more than the settings, and never for less, and
whoever changes the settings later leaves what was signed as it is.
"""

from collections.abc import Sequence
from typing import Any

from django.conf import settings

from audit.errors import Invalid
from audit.ledger.bundle.asked import Rule
from audit.ledger.errors import LedgerError
from audit.ledger.witness.cosignature import WitnessKey
from people.policy.models import Policy

NOTHING: tuple[str, int] = ("", 0)


def rule_of(policy: Policy) -> Rule | None:
    """What it asks; what SQL made unreadable asks for nothing here, and shows as altered."""
    try:
        return Rule.read(policy.witnesses, policy.witnesses_needed)
    except LedgerError:
        return None


def rule_in_force() -> Rule | None:
    """What the policy in force asks."""
    return rule_of(Policy.current())


def known_keys(policy: Policy) -> list[WitnessKey]:
    """Those a policy may name: the settings' witnesses, and those it names already."""
    keys = [one.key for one in settings.LEDGER_WITNESSES]
    rule = rule_of(policy)
    return list(dict.fromkeys([*keys, *(rule.witnesses if rule else ())]))


def wanted(policy: Policy, keys: Sequence[str] | None, needed: int | None) -> tuple[str, int]:
    """The columns to sign for: each as given, or as it is. Raises Invalid (witnesses, …needed)."""
    if keys is None and needed is None:
        return policy.witnesses, policy.witnesses_needed
    keys = policy.witnesses.splitlines() if keys is None else keys
    needed = policy.witnesses_needed if needed is None else needed
    known = [key.text for key in known_keys(policy)]
    chosen = sorted(set(keys))
    for key in chosen:
        if key not in known:
            allowed = ", ".join(known) or "none: LEDGER_WITNESSES names none"
            raise Invalid("witnesses", key, f"a witness that the settings know ({allowed})")
    if not bool(chosen) <= needed <= len(chosen):
        allowed = (
            f"from 1 to the {len(chosen)} witnesses named" if chosen else "0, as none is named"
        )
        raise Invalid("witnesses_needed", needed, allowed)
    return "\n".join(chosen), needed


def as_seen(witnesses: str, needed: int) -> dict[str, Any]:
    """As it is signed for; nothing for nothing, so that an older policy reads as it did."""
    if not witnesses:
        return {}
    return {"witnesses": {"keys": witnesses.split("\n"), "needed": needed}}
