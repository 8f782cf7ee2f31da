"""What the owners' signed policy asks of witnesses, told by the app that has it.

It and the settings (LEDGER_WITNESSES, LEDGER_WITNESSES_NEEDED) are both to be met: neither can be
talked down by the other. Only the settings know addresses; only the policy is signed for.
"""

from collections.abc import Callable

from audit.ledger.bundle.asked import Rule


def _none() -> Rule | None:
    return None


_sources: list[Callable[[], Rule | None]] = [_none]


def register_rule(source: Callable[[], Rule | None]) -> None:
    """The app that has the policy says what it asks, None for nothing."""
    _sources[:] = [source]


def rule_in_force() -> Rule | None:
    """What the policy asks of witnesses now."""
    return _sources[0]()
