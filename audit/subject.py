"""What a history entry is about: a recipe, a slot, a site."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Subject:
    """The thing an entry is about, with the name it had at that moment."""

    type: str
    id: int | None
    label: str = ""
