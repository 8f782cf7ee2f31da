"""What templates need to print states, numbers, units and times; the rules: web.printing."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField
from django.middleware.csrf import get_token
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from audit.reading.charts import History
from web import drawings, drawn, links, once, printing, units
from web.charts import Drawing, Steps, drawing
from web.fields import typed_unit
from web.form_pages import newest_of

register = template.Library()


@register.simple_tag
def mark(code: str, word: str = "", count: int = 1) -> SafeString:
    """A state as drawn mark and word."""
    return drawn.mark(str(code), str(word), count)


register.simple_tag(links.link_to, name="link_to")


@register.simple_tag(takes_context=True)
def sent_once(context: template.RequestContext) -> SafeString:
    """What every form of a page carries: proof of this page, and the key of one intention."""
    hidden = '<input type="hidden" name="{}" value="{}">'
    request = context.request
    token = format_html(hidden, "csrfmiddlewaretoken", get_token(request))
    if not request.user.is_authenticated:
        return token
    return token + format_html(hidden, once.FIELD, once.key_for(request.user.pk))


@register.simple_tag
def queued_as(kind: str, about: object) -> SafeString:
    """In a form that a device may note without a line and send later: what it is, in words."""
    name = f"{kind}, {about}"
    return format_html('<input type="hidden" name="queued_as" value="{}">', name)


@register.filter
def number(value: object) -> str:
    """The number digit for digit as stored."""
    return printing.number(value)


@register.filter
def unit(code: str | None) -> str:
    """A UCUM code in its print form."""
    return printing.unit_label(code)


@register.filter
def difference(code: str) -> str:
    """The code of a unit for differences of what it measures, which have no 32 in °F."""
    return units.step_of(str(code or ""))


register.simple_tag(drawn.quantity)
register.simple_tag(drawn.as_stored)


@register.filter
def site_time(when: datetime | None, zone: str | tzinfo | None = None) -> str:
    """A moment in the site's own zone, to the minute."""
    return drawn.stamp(when, printing.moment(when, zone)) if when else printing.NONE


@register.filter
def site_second(when: datetime | None, zone: str | tzinfo | None = None) -> str:
    """A moment in the site's own zone, to the second: for history and signatures."""
    return drawn.second(when, zone)


@register.filter
def site_day(when: datetime | None, zone: str | tzinfo | None = None) -> str:
    """A moment's date in the site's own zone."""
    return drawn.stamp(when, printing.day(when, zone)) if when else printing.NONE


@register.filter
def day(value: date | None) -> str:
    """A plain date."""
    if value is None:
        return printing.NONE
    return format_html('<time datetime="{}">{}</time>', value.isoformat(), printing.day(value))


@register.filter
def age(when: datetime | None) -> str:
    """How long ago, or in how long, in words."""
    return drawn.stamp(when, printing.age(when)) if when else printing.NONE


@register.simple_tag(takes_context=True)
def chart(context: template.Context, drawing: Drawing) -> SafeString:
    """The picture, if it was drawn before or little is new on the page; else it asks for itself."""
    if (before := drawings.drawn_before(drawing)) is not None:
        return before
    request = context.get("request")
    parts = len(drawing.parts) + (vars(request).get("drawn_parts", 0) if request else 0)
    if request is None or parts <= drawings.AT_ONCE or not (key := drawings.ask_later(drawing)):
        if request is not None:
            vars(request)["drawn_parts"] = parts
        return drawing.svg
    return format_html(
        '<div class="drawn-later" hx-get="{url}" hx-trigger="load" hx-swap="outerHTML">'
        '<p><a href="{url}">Show the chart</a></p></div>',
        url=reverse("drawing", args=[key]),
    )


@register.simple_tag
def steps_drawing(found: History) -> Drawing:
    """Values over time, one panel a column: history doesn't know how charts are drawn."""
    panels = [
        Steps(
            f"{each.name}, {each.unit}" if each.unit else each.name,
            each.points,
            loose=each.drafts,
            names=("Approved", "Draft") if each.drafts else ("", ""),
        )
        for each in found.series
    ]
    return drawing(panels, found.text)


@register.filter
def short(digest: str) -> str:
    """The beginning of a digest, grouped to be compared by eye."""
    return printing.short_digest(str(digest))


@register.simple_tag
def crumb(label: object, url: str) -> SafeString:
    """One step of the way back, for the crumbs block."""
    return format_html('<li><a href="{}">{}</a></li>', url, label)


@register.simple_block_tag
def trail(content: str) -> str:
    """The way back to a page's parents; nothing at all on a page without any."""
    if not content.strip():
        return ""
    # Safe: `content` is what the template engine has just rendered, escaping included.
    steps = mark_safe(content)  # noqa: S308
    return format_html('<nav class="crumbs" aria-label="Way back"><ol>{}</ol></nav>', steps)


@register.filter
def unit_of(field: BoundField) -> str:
    """The printed unit in which a form field is typed, from its widget's data-unit."""
    return typed_unit(field.field)


@register.filter
def is_single_checkbox(field: BoundField) -> bool:
    """Whether the field is one box to tick: its label then follows the box."""
    return getattr(field.field.widget, "input_type", "") == "checkbox" and not field.use_fieldset


@dataclass(frozen=True, slots=True)
class FormProblem:
    """One line of the summary over a form; `anchor` is empty where no single field is at fault."""

    label: str
    message: str
    anchor: str = ""


def _anchor(field: BoundField) -> str:
    # A group of boxes has no control of its own: its first box can take the focus.
    return field.id_for_label or (f"{field.auto_id}_0" if field.auto_id else "")


def _form_problems(form: BaseForm) -> Iterator[FormProblem]:
    for message in form.non_field_errors():
        yield FormProblem("", str(message))
    for field in form:
        for message in field.errors:
            anchor = "" if field.is_hidden else _anchor(field)
            yield FormProblem(str(field.label), str(message), anchor)


def _problems(part: BaseForm | BaseFormSet[Any]) -> Iterator[FormProblem]:
    if isinstance(part, BaseFormSet):
        yield from (FormProblem("", str(message)) for message in part.non_form_errors())
        for form in part.forms:
            yield from _form_problems(form)
    else:
        yield from _form_problems(part)


@register.inclusion_tag("parts/error_summary.html")
def error_summary(*parts: BaseForm | BaseFormSet[Any]) -> dict[str, object]:
    """What is to be put right in forms and formsets, each line leading to its field.

    And where somebody else was quicker: what is stored now that differs from what was typed.
    """
    bound = [part for part in parts if part and part.is_bound]
    newest = [newest_of(part) for part in bound if isinstance(part, BaseForm)]
    return {
        "problems": [problem for part in bound for problem in _problems(part)],
        "stale": any(lines is not None for lines in newest),
        "newest": [line for lines in newest for line in lines or []],
    }
