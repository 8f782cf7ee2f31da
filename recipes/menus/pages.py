"""Menus, one of them with the sites that follow, and one version of it."""

from typing import Any

from django.db.models import Prefetch
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.models import User
from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.menus.departures import Standing, departing_slots, standings, standings_of
from recipes.menus.drafts import add_menu, edit_draft, new_draft
from recipes.menus.following import follow
from recipes.menus.forms import ArrangementForm, FollowForm, MenuForm
from recipes.menus.models import Following, FollowingQuerySet, Menu, MenuVersion, followed_by
from recipes.menus.review import barred
from stations.equipment.forms import SiteFilter
from stations.equipment.models import Site
from web.form_pages import Attempt, cleaned, form_page, posted
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page

CLOSED = ("superseded", "withdrawn")
SHOWN = 60  # departing slots of one site; more are only counted
SITES = 60  # that follow a menu, those that depart first where there are more; found by name


def shown_menu_version(pk: int) -> MenuVersion:
    """The version with all that its pages print; 404 if there is none."""
    found: MenuVersion = one_or_404(MenuVersion.objects.with_menu().with_drinks(), pk)
    return found


def _followings(user: User) -> FollowingQuerySet:
    """What the sites follow that this person may see."""
    return Following.objects.current().covered_by(user)


@page(Verb.RECIPE_VIEW)
def menus(request: PageRequest) -> HttpResponse:
    """All menus: the approved version, what is on its way, who follows and departs."""
    live = MenuVersion.objects.exclude(state__in=CLOSED).order_by("-number")
    every = Menu.objects.prefetch_related(Prefetch("versions", live, to_attr="live"))
    follows = list(_followings(request.user).values_list("menu_id", "site_id"))
    departing = departing_slots(site for _, site in follows)
    context = {
        "rows": [
            _row(menu, [s for pk, s in follows if pk == menu.pk], departing) for menu in every
        ],
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
    }
    return render(request, "recipes/menus/menus.html", context)


def _row(menu: Menu, sites: list[int], departing: dict[int, int]) -> dict[str, object]:
    live: list[MenuVersion] = menu.live  # type: ignore[attr-defined]
    approved = next((v for v in live if v.state == MenuVersion.State.APPROVED), None)
    return {
        "menu": menu,
        "approved": approved,
        "waiting": [version for version in live if version is not approved],
        "sites": len(sites),
        "departing": sum(site in departing for site in sites),
    }


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def menu_add(request: PageRequest) -> HttpResponse:
    """Enter a menu, with its first draft."""
    form = MenuForm(posted(request), by=request.user, initial={"like": request.GET.get("like")})

    def act() -> MenuVersion:
        return add_menu(by=request.user, **form.cleaned_data)

    template = "recipes/menus/menu_add.html"
    return form_page(request, template, form, act, said="{} is a draft.", context={})


@page(Verb.RECIPE_VIEW)
def menu(request: PageRequest, pk: int) -> HttpResponse:
    """One menu: the approved arrangement, every version, and the sites that follow."""
    shown = one_or_404(Menu.objects.all(), pk)
    versions = list(shown.versions.with_menu().with_drinks())
    approved = next((v for v in versions if v.state == MenuVersion.State.APPROVED), None)
    form = SiteFilter(request.GET)
    found = cleaned(form)["q"].strip()
    follows = _followings(request.user).filter(menu=shown, site__name__icontains=found)
    window, more = _window(follows)
    context = {
        "menu": shown,
        "versions": versions,
        "approved": approved,
        "standings": window,
        "more": more,
        "form": form if more or found else None,
        "may_draft": may(request.user, Verb.RECIPE_DRAFT),
        "may_publish": may(request.user, Verb.PUBLICATION_PLAN),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "recipes/menus/menu.html", context)


def _window(follows: FollowingQuerySet) -> tuple[list[Standing], int]:
    """How the first sites stand, in reading order, and how many more there are.

    Of too many those where slots depart: of the others there is nothing to say.
    """
    rows = list(follows.with_all())
    kept = rows
    if len(rows) > SITES:
        departing = departing_slots(each.site_id for each in rows)
        kept = sorted(rows, key=lambda each: each.site_id not in departing)[:SITES]
        kept.sort(key=rows.index)
    return standings_of(kept), len(rows) - len(kept)


@page(Verb.RECIPE_DRAFT, methods="POST")
def menu_draft(request: PageRequest, pk: int) -> HttpResponse:
    """Begin the next version from this one, with today's approved versions."""
    made = new_draft(by=request.user, based_on=shown_menu_version(pk))
    return redirect("recipes:menu_version_edit", made.pk)


def version_context(version: MenuVersion, user: User) -> dict[str, Any]:
    """What every page of one version prints."""
    return {
        "version": version,
        "menu": version.menu,
        "state": "returned" if version.is_returned else version.state,
        "drinks": list(version.arrangement.items()),
        "out_of_use": version.out_of_use,
        "barred": barred(version, user),
    }


@page(Verb.RECIPE_VIEW)
def menu_version(request: PageRequest, pk: int) -> HttpResponse:
    """One version: what stands on each slot number, and what may be done with it."""
    shown, user = shown_menu_version(pk), request.user
    context = version_context(shown, user) | {
        "may_draft": may(user, Verb.RECIPE_DRAFT),
        "may_approve": may(user, Verb.RECIPE_APPROVE),
        "may_withdraw": may(user, Verb.RECIPE_WITHDRAW),
        "may_publish": may(user, Verb.PUBLICATION_PLAN),
    }
    return render(request, "recipes/menus/menu_version.html", context)


@page(Verb.RECIPE_DRAFT, methods="GET POST")
def menu_version_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Put a version on each slot number; on a conflict what was typed stays typed."""
    shown = shown_menu_version(pk)
    form = ArrangementForm(posted(request), menu_version=shown)

    def act() -> MenuVersion:
        typed = form.cleaned_data
        edit_draft(
            by=request.user, menu_version=shown, revision=typed["revision"],
            arrangement=form.arrangement(), note=typed["note"],
        )  # fmt: skip
        return shown

    def context(attempt: Attempt) -> dict[str, object]:
        return version_context(shown, request.user) | {"stale": attempt.stale}

    template = "recipes/menus/menu_version_edit.html"
    return form_page(request, template, form, act, said="{} was saved.", context=context)


@page(Verb.RECIPE_VIEW, methods="GET POST")
def site_menu(request: PageRequest, pk: int) -> HttpResponse:
    """What a site follows, where it departs, and letting it follow another."""
    shown: Site = one_or_404(Site.objects.covered_by(request.user, Verb.SLOT_VIEW), pk)
    if request.method == "POST":
        require_for_page(request, Verb.PUBLICATION_SIGN, shown.pk)
    now = followed_by(shown.pk)
    seen = {"menu": now and now.menu_id, "instead_of": now and now.menu_id}
    form = FollowForm(posted(request), initial=seen)

    def act() -> str:
        follow(by=request.user, site=shown, **form.cleaned_data)
        return request.path

    def context(_: Attempt) -> dict[str, object]:
        mine = Following.objects.current().filter(site=shown)
        found = standings(mine)
        departures = found[0].departures if found else ()
        return {
            "site": shown,
            "standing": found[0] if found else None,
            "departures": departures[:SHOWN],
            "more": max(0, len(departures) - SHOWN),
            "may_follow": may(request.user, Verb.PUBLICATION_SIGN, shown.pk),
            "may_draft": may(request.user, Verb.RECIPE_DRAFT),
        }

    template = "recipes/menus/site_menu.html"
    return form_page(request, template, form, act, said="Saved.", context=context)
