"""What an action raises when it can't be done; pages and API turn each into its own answer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from audit.characters import visible


@dataclass(frozen=True, slots=True)
class Subject:
    """The thing an entry is about, with the name it had at that moment."""

    type: str
    id: int | None
    label: str = ""


SHOWN = 80  # characters of a refused value that are worth repeating
UNSHOWN = "(not shown)"  # stands for a value that no message may repeat


def shown(value: object) -> str:
    """The value as a message may repeat it: one line, not too long, the unseen made visible."""
    text = visible(str(value)[: SHOWN + 1])
    text = "".join(mark if mark.isprintable() else " " for mark in text)
    return text if len(text) <= SHOWN else text[: SHOWN - 1] + "…"


class DomainError(Exception):
    """A rule of the product said no; `message` is a sentence for the person who asked."""

    def __init__(self, message: str) -> None:
        super().__init__(message)
        self.message = message


@dataclass(frozen=True, slots=True)
class Problem:
    """One value that can't be used: the field, what was given, and what is allowed."""

    field: str
    value: object
    allowed: str

    @property
    def message(self) -> str:
        """The sentence for an API answer, its field named."""
        return f"{self.field}: {self.sentence}"

    @property
    def sentence(self) -> str:
        """The same for a place that says which field it is about."""
        if self.value is None or self.value == "":
            what = "nothing was given"
        elif self.value == UNSHOWN:
            what = "what was typed can't be used"
        else:
            what = f"“{shown(self.value)}” can't be used"
        return f"{what}. Allowed: {self.allowed.rstrip('.')}."


class Invalid(DomainError):  # noqa: N818
    """A value can't be used (400). Names the field, the value and what is allowed."""

    def __init__(self, field: str, value: object, allowed: str) -> None:
        self.problems: list[Problem] = [Problem(field, value, allowed)]
        self.field, self.value, self.allowed = field, value, allowed
        super().__init__(self.problems[0].message)

    @classmethod
    def of(cls, problems: Sequence[Problem]) -> "Invalid":
        """One error for several problems; at least one must be given."""
        first = problems[0]
        error = cls(first.field, first.value, first.allowed)
        error.problems = list(problems)
        error.message = " ".join(problem.message for problem in problems)
        error.args = (error.message,)
        return error


class Refused(DomainError):  # noqa: N818
    """The rules forbid it now (409). `recorded` writes it to the history.

    `attempted` holds what was tried, field by field as (old, new); numbers as text.
    """

    def __init__(
        self,
        message: str,
        who_may: str = "",
        how_to_ask: str = "",
        *,
        subject: Subject | None = None,
        site_id: int | None = None,
        attempted: Mapping[str, tuple[object, object]] | None = None,
    ) -> None:
        super().__init__(message)
        self.who_may, self.how_to_ask = who_may, how_to_ask
        self.subject, self.site_id = subject, site_id
        self.attempted = dict(attempted or {})
        self.entry_id: int | None = None  # set once the refusal is in the history


class OneMoreStep(DomainError):  # noqa: N818
    """Nothing is wrong: whoever acts is asked for one thing more, and the form knows for what."""


class NotPermitted(Refused):
    """This person may not do it (403)."""


class Stale(DomainError):  # noqa: N818
    """Somebody else changed it meanwhile (412); `current_revision` is what it is now."""

    def __init__(self, message: str, current_revision: int) -> None:
        super().__init__(message)
        self.current_revision = current_revision


class NotFound(DomainError):  # noqa: N818
    """There is no such thing, or none that this person may see (404)."""
