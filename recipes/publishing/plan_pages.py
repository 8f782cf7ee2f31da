"""From an approved version to a signed publication: where and when, the plan, the signature."""

from datetime import UTC, datetime

from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.coffees.models import LotRest, rest_of
from recipes.publishing.actions import OLDEST, publish
from recipes.publishing.columns import site_tables
from recipes.publishing.forms import SignPlanForm, WhereForm
from recipes.publishing.hindered import hindrances
from recipes.publishing.models import Publication
from recipes.publishing.plan import PublicationPlan, SitesPlan, make_plan
from recipes.publishing.replaced import ended_permits, replaced
from recipes.publishing.summary import site_parts, water_beside
from recipes.publishing.varied import by_variant, own_water
from recipes.versions.models import Version
from recipes.versions.standing import Standing, by_number, on_its_way, standing
from web.form_pages import Attempt, form_page, look_again, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page

SHOWN_WHOLE = 60  # slots; a longer plan opens one site at a time


def _version(pk: int) -> Version:
    return one_or_404(Version.objects.with_recipe().with_formula(), pk)


@page(Verb.PUBLICATION_PLAN)
def where(request: PageRequest, pk: int) -> HttpResponse:
    """Choose the slots and the moment; the address of the answer is the plan."""
    version = _version(pk)
    now = standing(version.recipe, request.user, Verb.PUBLICATION_SIGN)
    form = WhereForm(request.GET or None, by=request.user, version=version, standing=now)
    if form.is_bound and not form.unpicked and form.is_valid():
        return redirect(f"{reverse('recipes:publish_plan', args=[pk])}?{request.GET.urlencode()}")
    status = 200 if form.unpicked else status_of(form)
    if form.unpicked:
        chosen = request.GET.dict() | {"sites": request.GET.getlist("sites")}
        form = WhereForm(
            initial=chosen, picked=request.GET, by=request.user, version=version, standing=now
        )
    return _ask_where(request, form, now, status)


def _ask_where(request: PageRequest, form: WhereForm, now: Standing, status: int) -> HttpResponse:
    """The form, beside what is in force."""
    version, user = form.version, request.user
    context = {
        "version": version,
        "recipe": version.recipe,
        "form": form,
        "standing": now,
        "waiting": on_its_way(version.recipe, user),
        "numbers": by_number(user, Verb.PUBLICATION_SIGN),
    }
    return render(request, "recipes/publishing/publish_where.html", context, status=status)


@page(Verb.PUBLICATION_PLAN, methods="GET POST")
def plan(request: PageRequest, pk: int) -> HttpResponse:
    """Show what signing would do to every slot, and take the signature."""
    version = _version(pk)
    chosen = WhereForm(request.GET, by=request.user, version=version)
    if not chosen.is_valid():
        now = standing(version.recipe, request.user, Verb.PUBLICATION_SIGN)
        again = WhereForm(request.GET, by=request.user, version=version, standing=now)
        return _ask_where(request, again, now, 400)
    made = _plan(request, version, chosen, learnt_until(request))
    form = SignPlanForm(
        posted(request),
        initial=seen_of(made),
        request=request,
        flagged=bool(made.to_acknowledge),
    )

    def act() -> Publication:
        done = _publish(request, version, chosen, form)
        note_signed(request)
        return done

    def context(attempt: Attempt) -> dict[str, object]:
        if attempt.ok:
            return _shown(request, made, form)
        newest = _plan(request, version, chosen)  # which is what the next signature is for
        look_again(form, seen_of(newest))
        return _shown(request, newest, form)

    template = "recipes/publishing/publish_plan.html"
    return form_page(request, template, form, act, said="{} is signed.", context=context)


def learnt_until(request: PageRequest) -> datetime | None:
    """The moment of the plan that is being signed; none, or none that can be meant: now."""
    try:
        found = parse_datetime(request.POST.get("learnt_until", ""))
    except ValueError:
        return None
    if found is None or found.tzinfo is None:
        return None
    return found if abs(found - timezone.now()) <= 2 * OLDEST else None


def seen_of(made: SitesPlan) -> dict[str, str]:
    """What the page carries along for the signature."""
    until = made.learnt_until
    return {"seen_digest": made.digest, "learnt_until": until.isoformat() if until else ""}


def _plan(
    request: PageRequest, version: Version, chosen: WhereForm, until: datetime | None = None
) -> PublicationPlan:
    scope, when = chosen.cleaned_data["scope"], chosen.cleaned_data["when"]
    return make_plan(
        version=version, scope=scope, when=when, by=request.user, now=datetime.now(UTC),
        learnt_until=until,
    )  # fmt: skip


def _publish(
    request: PageRequest, version: Version, chosen: WhereForm, form: SignPlanForm
) -> Publication:
    return publish(
        by=request.user,
        version=version,
        scope=chosen.cleaned_data["scope"],
        when=chosen.cleaned_data["when"],
        seen=form.cleaned_data["seen_digest"],
        reason=form.cleaned_data["reason"],
        credentials=form.credentials(),
        acknowledged=form.cleaned_data.get("acknowledged", False),
        learnt_until=form.cleaned_data["learnt_until"],
    )


def _shown(request: PageRequest, made: PublicationPlan, form: SignPlanForm) -> dict[str, object]:
    """The plan for the page: all of it while it is short, else the site that was opened."""
    parts, waters, variants = site_parts(made), water_beside(made), by_variant(made.lines)
    opened = request.GET.get("open", "")
    whole = len(made.lines) <= SHOWN_WHOLE
    details = [part.site.pk for part in parts if whole or str(part.site.pk) == opened]
    return {
        "version": made.version,
        "plan": made,
        "scope_label": made.scope_label,
        "waters": [one for one in waters if one.words],
        "waters_unread": [one for one in waters if one.unread],
        "own_water": own_water(made.version, variants),
        "variants": variants,
        "counts": {outcome.value: count for outcome, count in made.counts().items()},
        "sites": parts,
        "details": site_tables(made, details),
        "replaced": replaced(made),
        "ended_permits": ended_permits(made.to_place, made.site_names),
        "hindrances": hindrances(made),
        "whole": whole,
        "form": form,
        "rest": _rest(made),
        "query": request.GET.urlencode(),
    }


def _rest(made: PublicationPlan) -> LotRest | None:
    """How the lot it is published with, or the one it was made for, stands today."""
    lot = made.when.lot or made.version.lot
    return rest_of(lot, timezone.now().date()) if lot else None
