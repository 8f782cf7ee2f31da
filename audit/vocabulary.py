"""The closed vocabulary of history actions: a code for the record, plain words for the page."""

ACTIONS: dict[str, str] = {}


class UnknownAction(LookupError):  # noqa: N818
    """An action nobody registered."""


def register(code: str, words: str) -> str:
    """Add an action such as ("version.approved", "Approved version") and return its code.

    Raises ValueError if the code already stands for other words.
    """
    if ACTIONS.setdefault(code, words) != words:
        raise ValueError(f"Action {code} already means “{ACTIONS[code]}”.")
    return code


def known(code: str) -> str:
    """The code itself; raises UnknownAction if nobody registered it."""
    if code not in ACTIONS:
        raise UnknownAction(f"{code!r} is no history action: register it in the app's actions.py.")
    return code


def words(code: str) -> str:
    """Plain words for a code. Old history may hold codes that are gone: those show as they are."""
    return ACTIONS.get(code, code)


OUTSIDE = register("database.changed", "Changed outside the program")
ELSEWHERE = register("site.not_covered", "Tried something at another site")
