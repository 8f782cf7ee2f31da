"""A form as it stands on a page, and as a person fills it in."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import urljoin

Typed = str | bool | Sequence[str]


@dataclass
class Form:
    """Where it is sent, and what is in it; ``allowed`` holds what a field offers to choose."""

    action: str
    method: str
    values: dict[str, list[str]] = field(default_factory=dict)
    allowed: dict[str, list[str]] = field(default_factory=dict)

    def has(self, name: str) -> bool:
        """Whether it has a field of that name."""
        return name in self.values

    def filled(self, **typed: Typed) -> dict[str, list[str]]:
        """Everything a browser would send with these fields filled in.

        True ticks a box. Raises LookupError for a field or a choice the page does not offer.
        """
        sent = {name: list(values) for name, values in self.values.items()}
        for name, value in typed.items():
            if name not in self.values:
                raise LookupError(f"the form for {self.action} has no field {name}")
            sent[name] = self._chosen(name, value)
        return {name: values for name, values in sent.items() if values}

    def _chosen(self, name: str, value: Typed) -> list[str]:
        offered = self.allowed.get(name, [])
        if isinstance(value, bool):
            return offered[:1] if value else []
        chosen = [value] if isinstance(value, str) else list(value)
        if offered and (missing := [each for each in chosen if each not in offered]):
            raise LookupError(f"{name} offers no {missing[0]}, only {', '.join(offered)}")
        return chosen


class FormReader:
    """Puts forms together from the tags of one page."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.forms: list[Form] = []
        self._open: Form | None = None
        self._select: str = ""
        self._area: str = ""

    def begin(self, tag: str, given: Mapping[str, str]) -> None:
        """A start tag."""
        if tag == "form":
            action = urljoin(self.path, given.get("action", "") or self.path)
            self._open = Form(action, given.get("method", "get").lower())
            self.forms.append(self._open)
        elif self._open:
            self._control(self._open, tag, given)

    def _control(self, form: Form, tag: str, given: Mapping[str, str]) -> None:
        name = given.get("name", "")
        if tag == "option":
            self._option(form, given)
        elif not name or "disabled" in given:
            return
        elif tag == "input":
            _input(form, name, given)
        elif tag in ("select", "textarea"):
            form.values.setdefault(name, [""] if tag == "textarea" else [])
            self._select, self._area = (name, "") if tag == "select" else ("", name)

    def _option(self, form: Form, given: Mapping[str, str]) -> None:
        if not self._select:
            return
        value, offered = given.get("value", ""), form.allowed.setdefault(self._select, [])
        offered.append(value)
        # Without a chosen option a browser takes the first.
        if "selected" in given or len(offered) == 1:
            form.values[self._select] = [value]

    def words(self, data: str) -> None:
        """Text inside a textarea is its value."""
        if self._open and self._area:
            self._open.values[self._area][0] += data

    def end(self, tag: str) -> None:
        """An end tag."""
        if tag == "form":
            self._open = None
        elif tag == "select":
            self._select = ""
        elif tag == "textarea":
            if self._open and self._area:
                # HTML drops the line break right after the start tag.
                text = self._open.values[self._area][0]
                self._open.values[self._area][0] = text.removeprefix("\n")
            self._area = ""


def _input(form: Form, name: str, given: Mapping[str, str]) -> None:
    kind, value = given.get("type", "text"), given.get("value", "")
    if kind in ("submit", "button", "image", "reset", "file"):
        return
    if kind in ("checkbox", "radio"):
        value = given.get("value", "on")
        form.allowed.setdefault(name, []).append(value)
        kept = form.values.setdefault(name, [])
        if "checked" in given:
            kept.append(value)
    else:
        form.values[name] = [value]
