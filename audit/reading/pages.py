"""Pages of the history."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from audit.capture.models import Entry
from audit.endpoint import refuse_unasked
from audit.errors import Invalid, NotFound
from audit.reading.access import Reach, note_outside, reaches_of, scope_of
from audit.reading.charts import values_written
from audit.reading.choosing import LONGEST, MOST
from audit.reading.filters import FilterForm, whole_number
from audit.reading.keyset import LAST
from audit.reading.named import page_of_thing
from audit.reading.queries import PAGE, HistoryFilter, HistoryPage, page_of
from audit.reading.reaching import found_within, page_within
from audit.reading.rows import clock_of, rows_of, whole_row
from audit.registry import NameLookup, Scope, content_of, registry, subject_name, subject_word
from audit.retention.records import absent, archived
from audit.sealing.lateness import waiting_now
from audit.sealing.proofs import place_of

KEYS = ("before", "after")


@dataclass(frozen=True, slots=True)
class Key:
    """Where a page begins: older than an id, newer than one, or at the newest."""

    before: int | None = None
    after: int | None = None


def key_of(query: Mapping[str, str]) -> Key:
    """From ?before= or ?after=. Raises Invalid for anything but one entry number."""
    before, after = (_id(query, name) for name in KEYS)
    if before is not None and after is not None:
        raise Invalid("after", after, "before or after, not both")
    return Key(before, after)


def _id(query: Mapping[str, str], name: str) -> int | None:
    text = query.get(name)
    if text is None:
        return None
    return whole_number(name, text, "the number of an entry", most=LAST - 1)


def addresses(path: str, query: QueryDict, page: HistoryPage) -> dict[str, str]:
    """Of the newest, the newer and the older page, with the same filter; '' where there is none."""
    older, newer = page.older_than, page.newer_than
    return {
        "first_url": _with(path, query) if newer is not None else "",
        "newer_url": _with(path, query, after=newer) if newer is not None else "",
        "older_url": _with(path, query, before=older) if older is not None else "",
    }


def without_key(query: QueryDict) -> QueryDict:
    """The filter alone, whichever page of what it finds was shown."""
    changed = query.copy()
    for name in KEYS:
        changed.pop(name, None)
    return changed


def _with(path: str, query: QueryDict, **key: int) -> str:
    changed = without_key(query)
    for name, value in key.items():
        changed[name] = str(value)
    return f"{path}?{changed.urlencode()}" if changed else path


EFFORT = 10_000  # entries a page may look through: some 20 ms
EMPTY = HistoryPage([], None, None)


NAMES = {
    "site": "site_names",
    "person": "people_names",
    "device": "device_names",
}  # in the registry, by field


@require_safe
@login_required
@vary_on_headers("HX-Request", "HX-Target")
def history(request: HttpRequest) -> HttpResponse:
    """The history, newest first, by whatever filter; to htmx, names that fit what is typed."""
    scope = scope_of(request.user)
    asking = request.headers.get("HX-Target", "").removesuffix("_names")
    if request.headers.get("HX-Request") == "true" and asking in NAMES:
        return _names(request, asking, scope)
    refuse_unasked(request.GET, [*FilterForm.base_fields, *KEYS], empty=True)
    form = FilterForm(request.GET, scope)
    key = key_of(request.GET.dict())
    page, wanted = EMPTY, HistoryFilter()
    if form.is_valid():
        wanted = form.wanted()
        page = page_of(wanted, scope, before=key.before, after=key.after, effort=EFFORT)
    one_site = wanted.site is not None
    rows = rows_of(page.entries, one_site=one_site, parameter=wanted.parameter)
    context = {
        "form": form,
        "rows": rows,
        "zone": clock_of(rows),
        "named": list(NAMES),
        "whole": True,
        "short": page.short,
        "lag": waiting_now(),
        "archived": archived(),
        "wanted": without_key(request.GET).urlencode(),
        **addresses(request.path, request.GET, page),
    }
    return render(
        request, "audit/reading/history.html", context, status=400 if form.errors else 200
    )


def _names(request: HttpRequest, field: str, scope: Scope) -> HttpResponse:
    text = request.GET.get(field, "")[:LONGEST].replace("\0", "").strip()
    names: NameLookup = getattr(registry, NAMES[field])
    fitting = [name for _, name in names.fitting(text, scope, MOST)]
    return render(request, "audit/reading/partials/names.html", {"names": fitting})


def found_by(user: object, reaches: Sequence[Reach], pk: int) -> tuple[Entry, Reach]:
    """The entry of that number, if they may read it, and by which reach.

    Raises NotFound; notes it if it is outside.
    """
    found = found_within(pk, reaches)
    if found is None:
        note_outside(user, reaches[0].sites, Entry.objects.filter(pk=pk))
        raise absent(pk)
    return found


@require_safe
@login_required
def entry(request: HttpRequest, pk: int) -> HttpResponse:
    """One entry, whole."""
    record, reach = found_by(request.user, reaches_of(request.user), pk)
    row = whole_row(record)
    signed = row.approval.signature if row.approval else None
    context = {
        "row": row,
        "whole": reach.whole,
        "signature": signed,
        "content": content_of(signed) if signed else None,
        "place": place_of(pk),
    }
    return render(request, "audit/reading/entry.html", context)


@require_safe
@login_required
def timeline(request: HttpRequest, subject_type: str, subject_id: int) -> HttpResponse:
    """Everything that happened to one subject, or to one parameter of it, with a chart."""
    reaches = reaches_of(request.user)
    refuse_unasked(request.GET, ["parameter", *KEYS], empty=True)
    wanted, page = thing_page(request.user, reaches, (subject_type, subject_id), request.GET)
    parameter = wanted.parameter
    rows = rows_of(page.entries, one_site=True, parameter=parameter)
    context = {
        "kind": subject_word(subject_type),
        "label": subject_name(
            subject_type, subject_id, page.entries[0].subject if page.entries else ""
        ),
        "subject_url": page_of_thing(subject_type, subject_id),
        "rows": rows,
        "zone": clock_of(rows),
        "parameter": parameter,
        "parameters": registry.parameters(),
        "chart": values_written(wanted, reaches) if parameter else None,
        "archived": archived(),
        "whole": reaches[0].whole,
        **addresses(request.path, request.GET, page),
    }
    return render(request, "audit/reading/timeline.html", context)


def thing_page(
    user: object, reaches: Sequence[Reach], thing: tuple[str, int], query: QueryDict,
    size: int = PAGE,
) -> tuple[HistoryFilter, HistoryPage]:  # fmt: skip
    """What was asked of one thing's history, and one page of it.

    Raises Invalid for a parameter that there is not, and NotFound where there is nothing of it
    that they may read; notes it if it is outside.
    """
    parameter, (subject_type, subject_id) = _parameter(query), thing
    if subject_id > LAST or not subject_type.isprintable():
        raise NotFound("There is no such thing.")
    wanted, key = (
        _whole(subject_type, subject_id, parameter),
        key_of({name: str(query[name]) for name in KEYS if name in query}),
    )
    page = page_within(wanted, reaches, before=key.before, after=key.after, size=size)
    if not page.entries and not parameter:
        note_outside(user, reaches[0].sites, _newest(wanted))
        also = " Older entries are archived." if archived() else ""
        raise NotFound(f"There is no history of it here, or none that you may read.{also}")
    return wanted, page


def _whole(type_: str, pk: int, parameter: str | None) -> HistoryFilter:
    """All of a thing's history; a site's parameter is what its slots were set to."""
    if parameter and type_ == registry.site_kind:
        return HistoryFilter(site=pk, parameter=parameter)
    return HistoryFilter(subject_type=type_, subject_id=pk, parameter=parameter)


def _newest(wanted: HistoryFilter) -> Iterator[Entry]:
    """The newest entry that fits, wherever it belongs; looked for when it is asked for."""
    yield from page_of(wanted, None, size=1).entries


def _parameter(query: QueryDict) -> str | None:
    code = query.get("parameter") or None
    if code and code not in dict(registry.parameters()):
        raise Invalid("parameter", code, "a parameter from the list")
    return code
