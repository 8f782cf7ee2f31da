"""Equipment from one CSV file: uploaded, previewed, confirmed.

Nothing is kept between preview and confirmation: the file travels in the page, signed, and is
read and compared anew when it is confirmed.
"""

from collections.abc import Sequence

from django import forms
from django.contrib import messages
from django.core import signing
from django.http import HttpResponse
from django.shortcuts import redirect, render

from audit.errors import Invalid
from people.persons.verbs import Verb
from stations.importing.actions import ImportReport, import_equipment
from stations.importing.file import COLUMNS, MAX_BYTES, MAX_LINES, decode
from stations.importing.plan import plan_import
from stations.importing.starter import known_type, starter
from web.form_pages import form_errors, posted
from web.pages import PageRequest, page, require_for_page
from web.printing import counted
from web.printing import number as printed

SALT = "stations.importing"
MAX_AGE = 3600  # s
MAX_PAYLOAD = 2_000_000  # characters: what a form may carry beside a file


class FileForm(forms.Form):
    """The file."""

    file = forms.FileField(
        label="CSV file",
        help_text="UTF-8, cells apart by commas, semicolons or tabs, up to "
        f"{MAX_BYTES // 1_000_000} MB and {printed(MAX_LINES)} lines.",
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv"}),
    )


@page(methods="GET POST")
def import_page(request: PageRequest) -> HttpResponse:
    """Upload, preview, confirm."""
    require_for_page(request, Verb.EQUIPMENT_IMPORT)
    if "confirmed" in request.POST:
        return _confirm(request, request.POST["confirmed"])
    form = FileForm(posted(request), request.FILES or None)
    if request.method == "POST" and form.is_valid():
        with form_errors(form):
            return _preview(request, decode(form.cleaned_data["file"].read(MAX_BYTES + 1)))
    return _upload_page(request, form, 400 if request.method == "POST" else 200)


def _upload_page(
    request: PageRequest, form: FileForm, status: int = 200, problems: Sequence[str] = ()
) -> HttpResponse:
    context = {"form": form, "columns": COLUMNS, "problems": problems, "known_type": known_type()}
    return render(request, "stations/importing/import.html", context, status=status)


def _preview(request: PageRequest, text: str) -> HttpResponse:
    plan = plan_import(text, request.user)
    context = {"plan": plan, "lines": {fault.line for fault in plan.faults}}
    if plan.faults:
        return render(request, "stations/importing/import_preview.html", context, status=400)
    payload = signing.dumps([request.user.pk, text], salt=SALT, compress=True)
    if len(payload) > MAX_PAYLOAD:
        raise Invalid("file", f"{len(text)} characters", "less varied text, or several files")
    return render(
        request, "stations/importing/import_preview.html", {**context, "payload": payload}
    )


def _confirm(request: PageRequest, payload: str) -> HttpResponse:
    try:
        owner, text = signing.loads(payload, salt=SALT, max_age=MAX_AGE)
    except signing.BadSignature:
        owner, text = None, ""
    if owner != request.user.pk:
        old = "This preview is more than an hour old: choose the file again."
        return _upload_page(request, FileForm(), 400, [old])
    try:
        report = import_equipment(by=request.user, text=text)
    except Invalid:
        # Somebody changed the equipment since the preview: show what stands against it now.
        return _preview(request, text)
    messages.success(request, _words(report))
    return redirect("stations:sites")


def _words(report: ImportReport) -> str:
    added = [(report.sites, "site"), (report.machines, "machine"), (report.stations, "station")]
    new = [counted(n, word) for n, word in added if n]
    said = (
        f"Added {', '.join(new)} with {counted(report.slots, 'slot')}." if new else "Nothing new."
    )
    unchanged = report.unchanged
    return f"{said} {counted(unchanged, 'station')} unchanged."


@page()
def import_example(request: PageRequest) -> HttpResponse:
    """The starter file: example rows of a machine type that is there."""
    require_for_page(request, Verb.EQUIPMENT_IMPORT)
    # The mark at the beginning tells spreadsheets that it is UTF-8.
    response = HttpResponse("\ufeff" + starter(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="equipment.csv"'
    return response
