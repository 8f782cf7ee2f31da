"""From an approved menu to a signed publication: where and when, the plan, the signature."""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.menus.forms import WhereForm
from recipes.menus.models import MenuVersion
from recipes.menus.plan import MenuPlan, followers, make_menu_plan
from recipes.menus.publishing import for_plan, publish_menu
from recipes.planning.plan import Outcome
from recipes.publishing.forms import SignPlanForm
from recipes.publishing.models import Publication
from recipes.publishing.plan import PublicationLine
from recipes.publishing.plan_pages import learnt_until, seen_of
from recipes.publishing.varied import by_variant, names_in
from stations.machine_types.catalogue import printed
from web.form_pages import Attempt, form_page, look_again, posted, status_of
from web.pages import PageRequest, page

SHOWN_WHOLE = 60  # slots; a longer plan opens one site at a time


def _menu_version(pk: int) -> MenuVersion:
    found = for_plan(pk)
    if found is None:
        raise Http404("There is nothing here, or not for you.")
    return found


@page(Verb.PUBLICATION_PLAN)
def where(request: PageRequest, pk: int) -> HttpResponse:
    """Choose the sites and the moment; the address of the answer is the plan."""
    version = _menu_version(pk)
    sites = followers(version, request.user)
    form = WhereForm(request.GET or None, followers=sites)
    if form.is_bound and form.is_valid():
        return redirect(f"{reverse('recipes:menu_plan', args=[pk])}?{request.GET.urlencode()}")
    context = {"version": version, "form": form, "followers": sites}
    template = "recipes/menus/publish_where.html"
    return render(request, template, context, status=status_of(form))


@page(Verb.PUBLICATION_PLAN, methods="GET POST")
def plan(request: PageRequest, pk: int) -> HttpResponse:
    """Show what signing would do to every slot, and take the signature."""
    version = _menu_version(pk)
    sites = followers(version, request.user)
    chosen = WhereForm(request.GET, followers=sites)
    if not chosen.is_valid():
        around = {"version": version, "form": chosen, "followers": sites}
        return render(request, "recipes/menus/publish_where.html", around, status=400)
    made = _plan(request, version, chosen, learnt_until(request))
    form = SignPlanForm(
        posted(request), initial=seen_of(made), request=request, flagged=bool(made.to_acknowledge)
    )

    def act() -> Publication:
        typed = form.cleaned_data
        done = publish_menu(
            by=request.user, menu_version=version, sites=_ids(chosen),
            when=chosen.cleaned_data["when"], seen=typed["seen_digest"], reason=typed["reason"],
            credentials=form.credentials(), acknowledged=typed.get("acknowledged", False),
            learnt_until=typed["learnt_until"],
        )  # fmt: skip
        note_signed(request)
        return done

    def context(attempt: Attempt) -> dict[str, object]:
        if attempt.ok:
            return _shown(request, made)
        newest = _plan(request, version, chosen)  # which is what the next signature is for
        look_again(form, seen_of(newest))
        return _shown(request, newest)

    template = "recipes/menus/publish_plan.html"
    return form_page(request, template, form, act, said="{} is signed.", context=context)


def _ids(chosen: WhereForm) -> list[int]:
    return [site.pk for site in chosen.cleaned_data["sites"]]


def _plan(
    request: PageRequest, version: MenuVersion, chosen: WhereForm, until: datetime | None = None
) -> MenuPlan:
    return make_menu_plan(
        by=request.user, menu_version=version, sites=_ids(chosen),
        when=chosen.cleaned_data["when"], now=datetime.now(UTC), learnt_until=until,
    )  # fmt: skip


def _shown(request: PageRequest, made: MenuPlan) -> dict[str, object]:
    """The plan for the page: all of it while it is short, else the site that was opened."""
    opened = request.GET.get("open", "")
    whole = len(made.lines) <= SHOWN_WHOLE
    variants = by_variant(made.lines)
    return {
        "version": made.menu_version,
        "plan": made,
        "hindrance": made.hindrance(),
        "counts": {outcome.value: count for outcome, count in made.counts().items()},
        "sites": list(_parts(made)),
        "variants": variants,
        "details": [
            _details(made, site_id, names_in(variants))
            for site_id in made.sites
            if whole or str(site_id) == opened
        ],
        "whole": whole,
        "query": request.GET.urlencode(),
    }


def _parts(made: MenuPlan) -> list[dict[str, Any]]:
    """Each site's share of it, in numbers; one that has none of the slots is told as well."""
    shares = {site.pk: lines for site, _, lines in made.by_site()}
    return [
        {
            "site": site,
            "due": made.due[pk],
            "place": _count(shares.get(pk, ()), Outcome.PLACE),
            "same": _count(shares.get(pk, ()), Outcome.SAME),
            "refuse": _count(shares.get(pk, ()), Outcome.REFUSE),
            "missing": made.missing.get(pk, ()),
        }
        for pk, site in made.sites.items()
    ]


def _count(lines: Any, outcome: Outcome) -> int:  # noqa: ANN401
    return sum(line.outcome is outcome for line in lines)


def _details(made: MenuPlan, site_id: int, types: Mapping[int, str]) -> dict[str, Any]:
    """The slots of one site, each with what it would be set to."""
    lines = [line for line in made.lines if line.slot.site_id == site_id]
    flags = {flag for line in lines if line.translation for flag in line.translation.flags}
    return {
        "site": made.sites[site_id],
        "rows": [_slot(line, types) for line in lines],
        "flags": sorted(flag.rstrip(".") + "." for flag in flags),
    }


def _slot(line: PublicationLine, types: Mapping[int, str]) -> dict[str, Any]:
    there = line.translation
    return {
        "line": line,
        "version": line.version,
        "settings": printed(there.values) if there else [],
        "expected": there.expected if there else None,
        "variant": types.get(there.variant or 0, "") if there else "",
    }
