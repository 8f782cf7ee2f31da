"""Pages about a site's tablets, for those who enrol them; and what its owner allows."""

import segno
from django import forms
from django.contrib import messages
from django.db.models import Model, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.cache import never_cache

from people.confirming.pages import confirmed
from people.persons.models import all_sites
from people.persons.permissions import may
from people.persons.verbs import Verb
from people.tablets.actions import (
    add_tablet,
    new_code,
    rename_tablet,
    revoke_tablet,
    set_tablet_policy,
)
from people.tablets.models import NAME_LENGTH, Shown, Tablet, TabletPolicy
from web.fields import RevisionForm, SeenRevision
from web.form_pages import cleaned, form_errors, form_page, posted, status_of
from web.lookup import one_or_404
from web.once import done
from web.pages import PageRequest, page, require_for_page
from web.typed import Typed


class TabletForm(forms.Form):
    """A tablet to enrol."""

    name = forms.CharField(
        label="Name",
        max_length=NAME_LENGTH,
        help_text="As it stands on the tablet and in the history, such as “Counter left”.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class RenameForm(TabletForm):
    """Another name, and the revision it was read at."""

    revision = SeenRevision()


class TabletPolicyForm(forms.Form):
    """What the owner allows at a site."""

    revision = SeenRevision()
    idle_minutes = forms.IntegerField(
        label="A tablet left alone asks who you are after",
        min_value=1,
        max_value=60,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "data-unit": "min"}),
    )
    shown = forms.ChoiceField(
        label="A station's code shows to whoever is not signed in",
        choices=Shown.choices,
        widget=forms.RadioSelect,
    )
    shown_on_tablet = forms.ChoiceField(
        label="The same on a tablet of that site",
        choices=Shown.choices,
        widget=forms.RadioSelect,
    )


def _sites(request: PageRequest, verb: Verb) -> "QuerySet[Model]":
    return all_sites().covered_by(request.user, verb)  # type: ignore[attr-defined,no-any-return]


def _covered(request: PageRequest, pk: int) -> Tablet:
    rows = Tablet.objects.covered_by(request.user).select_related("site", "made_by")
    return one_or_404(rows, pk)


@never_cache
@page(Verb.TABLET_ENROL, methods="GET POST")
@confirmed()
def tablets(request: PageRequest, pk: int) -> HttpResponse:
    """List a site's, and make a code for another; it stands on the page that answers, and never
    again."""
    site = one_or_404(_sites(request, Verb.TABLET_ENROL), pk)
    form = TabletForm(posted(request))
    Typed(request).refill(form, request.path)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            made, code = add_tablet(by=request.user, site_id=pk, name=form.cleaned_data["name"])
        if outcome.ok:
            return _with_code(request, made, code)
        return _list(request, site, form, status=outcome.status)
    return _list(request, site, form, status=status_of(form))


@never_cache
@page(Verb.TABLET_ENROL, methods="POST")
@confirmed("people:tablet_edit", "pk")
def tablet_code(request: PageRequest, pk: int) -> HttpResponse:
    """Another code for one that waits to be enrolled."""
    shown = _covered(request, pk)
    code = new_code(by=request.user, tablet=shown, **cleaned(RevisionForm(request.POST)))
    return _with_code(request, shown, code)


def _with_code(request: PageRequest, made: Tablet, code: str) -> HttpResponse:
    address = request.build_absolute_uri(reverse("people:tablet_enrol"))
    link = f"{address}?{urlencode({'code': code})}"
    shown = {
        "code": f"{code[:4]} {code[4:]}",
        "made": made,
        "address": address,
        "code_image": segno.make(link, error="m", micro=False).svg_data_uri(border=2, light="#fff"),
    }
    response = _list(request, made.site, TabletForm(), status=200, **shown)
    return done(response, reverse("people:tablets", args=[made.site_id]))


def _list(
    request: PageRequest, site: Model, form: TabletForm, *, status: int, **more: object
) -> HttpResponse:
    site_id = site.pk
    shown = {
        "site": site,
        "tablets": Tablet.objects.filter(site_id=site_id)
        .select_related("made_by")
        .order_by("revoked_at", "name"),
        "policy": TabletPolicy.at(site_id),
        "may_set_policy": may(request.user, Verb.POLICY_SET, site_id),
        "form": form,
        **more,
    }
    return render(request, "people/tablets/tablets.html", shown, status=status)


@page(Verb.TABLET_ENROL, methods="GET POST")
@confirmed()
def tablet_edit(request: PageRequest, pk: int) -> HttpResponse:
    """Rename one, revoke it, or make another code for it."""
    shown = _covered(request, pk)
    stored = {"name": shown.name, "revision": shown.revision}
    form = RenameForm(posted(request), initial=stored)

    def act() -> str:
        rename_tablet(by=request.user, tablet=shown, **form.cleaned_data)
        return reverse("people:tablets", args=[shown.site_id])

    return form_page(
        request,
        "people/tablets/tablet.html",
        form,
        act,
        said="Renamed.",
        context={"tablet": shown, "site": shown.site},
    )


@page(Verb.TABLET_ENROL, methods="POST")
@confirmed("people:tablet_edit", "pk")
def tablet_revoke(request: PageRequest, pk: int) -> HttpResponse:
    """End one at once, and what is open on it."""
    shown = _covered(request, pk)
    ended = revoke_tablet(by=request.user, tablet=shown, **cleaned(RevisionForm(request.POST)))
    messages.success(request, f"Revoked. {ended} open sessions ended.")
    return redirect("people:tablets", shown.site_id)


@page(Verb.POLICY_SET, methods="GET POST")
@confirmed()
def tablet_policy(request: PageRequest, pk: int) -> HttpResponse:
    """How long a tablet stays with somebody, and what a station's code shows to anybody."""
    site = one_or_404(_sites(request, Verb.POLICY_SET), pk)
    require_for_page(request, Verb.POLICY_SET, pk)
    policy = TabletPolicy.at(pk)
    names = ("revision", "idle_minutes", "shown", "shown_on_tablet")
    form = TabletPolicyForm(
        posted(request), initial={name: getattr(policy, name) for name in names}
    )

    def act() -> str:
        set_tablet_policy(by=request.user, site_id=pk, **form.cleaned_data)
        return reverse("people:tablets", args=[pk])

    return form_page(
        request,
        "people/tablets/policy.html",
        form,
        act,
        said="Set.",
        context={"site": site},
    )
