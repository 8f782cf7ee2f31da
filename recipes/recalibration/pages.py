"""A calibration: what it measured, what accepting it would change, and the decision."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django import forms
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.timezone import now

from people.persons.permissions import may
from people.persons.verbs import Verb
from people.signatures.fields import SigningForm, note_signed
from people.signatures.rules import Meaning
from recipes.planning.plan import RE_TRANSLATION, Outcome
from recipes.recalibration.actions import accept_calibration
from recipes.recalibration.plan import RetranslationLine, RetranslationPlan, make_retranslation_plan
from stations.calibrations.actions import reject_calibration
from stations.calibrations.drawing import fit_drawing
from stations.calibrations.forms import RejectForm
from stations.calibrations.models import Calibration
from stations.calibrations.outcome import COLUMNS, LEFT_OUT, Fitted, outcome_kept
from stations.calibrations.questions import in_words, open_questions
from stations.machine_types.catalogue import label_of
from stations.slots.models import Placement
from web.fields import SeenRevision
from web.form_pages import Attempt, form_page, look_again, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page

# Taking a calibration over.


JUST_NOW = timedelta(minutes=2)  # whoever recorded it comes from the form


class AcceptForm(SigningForm):
    """The signature over a calibration and what it changes."""

    signs = Meaning.RE_TRANSLATED

    seen_digest = forms.CharField(max_length=64, widget=forms.HiddenInput)
    revision = SeenRevision()
    reason = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Why it is accepted; needed where there are concerns.",
    )  # fmt: skip


def _found(request: PageRequest, pk: int, verb: Verb = Verb.EQUIPMENT_VIEW) -> Calibration:
    rows = Calibration.objects.covered_by(request.user, verb).with_place()
    return one_or_404(rows.select_related("signature"), pk)


def _measured(calibration: Calibration) -> dict[str, Any]:
    """The fit with its chart and table, worked out from the runs that are kept."""
    site = calibration.station.machine.site
    outcome = outcome_kept(calibration)
    return {
        "calibration": calibration,
        "station": calibration.station,
        "site": site,
        "outcome": outcome,
        "concerns": [*outcome.concerns, *_still_asked(calibration)],
        "answers": in_words(calibration.answers),
        "columns": [(label, bounds.unit) for label, bounds in COLUMNS[calibration.kind].values()],
        "runs": _rows(calibration, outcome),
        "chart": fit_drawing(outcome.fit) if outcome.fit else None,
    }


def _still_asked(calibration: Calibration) -> list[str]:
    """Only of one that waits: what is decided is not held against what is in use since."""
    waits = calibration.state == Calibration.State.PROPOSED
    return open_questions(calibration) if waits else []


def _rows(calibration: Calibration, outcome: Fitted) -> list[dict[str, Any]]:
    """Every run as it was typed, with what the fit says of those that count."""
    columns = COLUMNS[calibration.kind].items()
    fitted = _fitted(outcome)
    return [
        {
            "number": number,
            "values": [(label, run[name], bounds.unit) for name, (label, bounds) in columns],
            "left_out": run.get(LEFT_OUT, ""),
            "outlier": False,
        }
        | fitted.get(number, {})
        for number, run in enumerate(calibration.runs, 1)
    ]


def _fitted(outcome: Fitted) -> dict[int, dict[str, Any]]:
    """Volume, distance from the line and outlier, by the run's number."""
    fit = outcome.fit
    if fit is None:
        return {}
    residuals = zip(fit.numbers, fit.volumes, fit.line.residuals, strict=True)
    return {
        number: {
            "volume": f"{volume:.2f}",
            "residual": f"{off:+.1f}".replace("-", "−"),  # noqa: RUF001
            "outlier": number == fit.outlier,
        }
        for number, volume, off in residuals
    }


@page(Verb.EQUIPMENT_VIEW)
def calibration(request: PageRequest, pk: int) -> HttpResponse:
    """Runs, fit and decision; for those who may decide, the way there."""
    found = _found(request, pk)
    basis = RE_TRANSLATION.basis
    under = Q(basis=basis, basis_id=pk)
    if found.signature_id:
        under |= Q(slot__station=found.station_id, signature=found.signature_id)
    placed = Placement.objects.filter(under).select_related("settings", "slot")
    context = _measured(found) | {
        "placed": placed.order_by("slot__number"),
        "just_recorded": found.recorded_by_id == request.user.pk
        and now() - found.recorded_at < JUST_NOW,
        "may_decide": found.state == Calibration.State.PROPOSED
        and may(request.user, Verb.CALIBRATION_RECORD, found.station.machine.site_id),
    }
    return render(request, "recipes/recalibration/calibration.html", context)


@page(Verb.CALIBRATION_RECORD, methods="GET POST")
def calibration_accept(request: PageRequest, pk: int) -> HttpResponse:
    """What accepting changes, slot by slot, and the signature."""
    found = _found(request, pk, Verb.CALIBRATION_RECORD)
    plan = make_retranslation_plan(calibration=found, by=request.user)
    first = {"seen_digest": plan.digest, "revision": found.revision}
    form = AcceptForm(posted(request), initial=first, request=request)

    def act() -> Calibration:
        _accept(request, found, form)
        note_signed(request)
        return found

    def context(attempt: Attempt) -> dict[str, object]:
        if attempt.ok:
            return _to_accept(found, plan)
        newest = _found(request, pk)  # which is what the next signature is for
        anew = make_retranslation_plan(calibration=newest, by=request.user)
        look_again(form, {"seen_digest": anew.digest, "revision": newest.revision})
        return _to_accept(newest, anew)

    template = "recipes/recalibration/calibration_accept.html"
    return form_page(request, template, form, act, said="{} is accepted.", context=context)


def _to_accept(calibration: Calibration, plan: RetranslationPlan) -> dict[str, object]:
    around = {"calibration": calibration, "open": calibration.state == "proposed"}
    return around | _planned(plan)


def _accept(request: PageRequest, found: Calibration, form: AcceptForm) -> None:
    accept_calibration(
        by=request.user,
        calibration=found,
        revision=form.cleaned_data["revision"],
        seen=form.cleaned_data["seen_digest"],
        credentials=form.credentials(),
        reason=form.cleaned_data["reason"],
    )


def _planned(plan: RetranslationPlan) -> dict[str, Any]:
    station = plan.calibration.station
    traits = plan.calibration.traits
    return {
        "plan": plan,
        "lines": _with_changes(plan.lines),
        "waiting": _with_changes(plan.waiting),
        "station": station,
        "site": station.machine.site,
        "counts": {outcome.value: len(plan.of(outcome)) for outcome in Outcome},
        "old": getattr(station, next(iter(traits))),
        "concerns": plan.concerns,
        "answers": in_words(plan.calibration.answers),
    }


def _with_changes(lines: Sequence[RetranslationLine]) -> list[tuple[RetranslationLine, Any]]:
    """Each line with (label, old value, new value, unit) of what changes."""
    return [
        (line, [(label_of(code), old, new, unit) for code, old, new, unit in line.changes])
        for line in lines
    ]


@page(Verb.CALIBRATION_RECORD, methods="GET POST")
def calibration_reject(request: PageRequest, pk: int) -> HttpResponse:
    """Decide that a calibration is not taken over."""
    found = _found(request, pk, Verb.CALIBRATION_RECORD)
    form = RejectForm(posted(request), initial={"revision": found.revision})
    return form_page(
        request,
        "recipes/recalibration/calibration_reject.html",
        form,
        lambda: reject_calibration(calibration=found, **form.cleaned_data, by=request.user),
        said="{} is rejected; the station keeps its values.",
        context={
            "calibration": found,
            "station": found.station,
            "site": found.station.machine.site,
        },
    )
