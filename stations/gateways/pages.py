"""Pages about a site's gateways: who they are, how they fare, enrolling and revoking them."""

from django import forms
from django.contrib import messages
from django.db.models import F
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from people.confirming.pages import confirmed
from people.persons.permissions import may
from people.persons.verbs import Verb
from stations.equipment.models import Site
from stations.gateways.actions import add_gateway, new_code, revoke_gateway
from stations.gateways.differences import MOST, SILENT, Difference, GatewayPolicy
from stations.gateways.ingest import FLAGGED_FROM
from stations.gateways.models import NAME_LENGTH, Gateway
from stations.gateways.restoring import set_gateway_policy
from stations.gateways.schemas import FAULT
from stations.gateways.silence import verified
from web.fields import RevisionForm, SeenRevision
from web.form_pages import cleaned, form_errors, form_page, posted, status_of
from web.lookup import one_or_404
from web.once import done
from web.pages import PageRequest, page, require_for_page
from web.typed import Typed

LISTED = 20


class GatewayForm(forms.Form):
    """A gateway to enrol."""

    name = forms.CharField(
        label="Name",
        max_length=NAME_LENGTH,
        help_text="As the history names it, such as “Box under the counter”.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )


class GatewayPolicyForm(forms.Form):
    """What gateways of a site do by themselves."""

    revision = SeenRevision()
    restores = forms.BooleanField(
        label="A slot found to differ is restored at once",
        required=False,
        help_text="The gateway that finds it loads the signed settings again. It is history too.",
    )
    most = forms.IntegerField(
        label="At most, in 24 hours and for each slot",
        min_value=MOST[0],
        max_value=MOST[1],
        help_text="After that a person is waited for, and owners see an alarm.",
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )
    silent_minutes = forms.IntegerField(
        label="Nothing heard is told after",
        min_value=SILENT[0],
        max_value=SILENT[1],
        widget=forms.TextInput(attrs={"inputmode": "numeric", "data-unit": "min"}),
    )


@never_cache
@page(Verb.EQUIPMENT_VIEW, methods="GET POST")
@confirmed()
def gateways(request: PageRequest, pk: int) -> HttpResponse:
    """List a site's, and make a code for another; it stands on the page that answers, and never
    again."""
    site = one_or_404(Site.objects.covered_by(request.user), pk)
    if request.method == "POST":
        require_for_page(request, Verb.GATEWAY_ENROL, pk)
    form = GatewayForm(posted(request))
    Typed(request).refill(form, request.path)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            made, code = add_gateway(by=request.user, site=site, name=form.cleaned_data["name"])
        if outcome.ok:
            return _with_code(request, made, code)
        return _list(request, site, form, status=outcome.status)
    return _list(request, site, form, status=status_of(form))


@page(Verb.EQUIPMENT_VIEW)
def gateway(request: PageRequest, pk: int) -> HttpResponse:
    """One gateway: how it fares, its keys, revoking it."""
    shown = _covered(request, pk)
    gaps = shown.status.missing
    context = {
        "gateway": shown,
        "gaps": gaps[:LISTED],
        "more_gaps": len(gaps[LISTED:]),
        "site": shown.site,
        "keys": list(shown.keys.all()[:20]),
        "faults": list(shown.events.filter(type=FAULT, state="taken").order_by("-at")[:LISTED]),
        "refused": list(shown.events.filter(state="refused").order_by("-pk")[:LISTED]),
        "wrong_clock": abs(shown.status.clock_offset or 0) > FLAGGED_FROM,
        "may_enrol": may(request.user, Verb.GATEWAY_ENROL, shown.site_id),
    }
    return render(request, "stations/gateways/gateway.html", context)


@page(Verb.POLICY_SET, methods="GET POST")
@confirmed()
def gateway_policy(request: PageRequest, pk: int) -> HttpResponse:
    """Whether differences are restored at once, how often, and when silence is told."""
    site = one_or_404(Site.objects.covered_by(request.user, Verb.POLICY_SET), pk)
    require_for_page(request, Verb.POLICY_SET, pk)
    policy = GatewayPolicy.at(pk)
    names = ("revision", "restores", "most", "silent_minutes")
    form = GatewayPolicyForm(
        posted(request), initial={name: getattr(policy, name) for name in names}
    )

    def act() -> str:
        set_gateway_policy(by=request.user, site=site, **form.cleaned_data)
        return reverse("stations:gateways", args=[pk])

    template = "stations/gateways/policy.html"
    return form_page(request, template, form, act, said="Set.", context={"site": site})


@never_cache
@page(Verb.GATEWAY_ENROL, methods="POST")
@confirmed("stations:gateway", "pk")
def gateway_code(request: PageRequest, pk: int) -> HttpResponse:
    """Another code for one that waits to be enrolled."""
    shown = _covered(request, pk)
    code = new_code(by=request.user, gateway=shown, **cleaned(RevisionForm(request.POST)))
    return _with_code(request, shown, code)


@page(Verb.GATEWAY_ENROL, methods="POST")
@confirmed("stations:gateway", "pk")
def gateway_revoke(request: PageRequest, pk: int) -> HttpResponse:
    """End one and its keys at once."""
    shown = _covered(request, pk)
    revoke_gateway(by=request.user, gateway=shown, **cleaned(RevisionForm(request.POST)))
    messages.success(request, "Revoked. Nothing it sends counts any more.")
    return redirect("stations:gateways", shown.site_id)


def _covered(request: PageRequest, pk: int) -> Gateway:
    rows = Gateway.objects.covered_by(request.user)
    return one_or_404(rows.select_related("site", "made_by", "status"), pk)


def _with_code(request: PageRequest, made: Gateway, code: str) -> HttpResponse:
    told = " ".join(code[at : at + 4] for at in range(0, len(code), 4))
    response = _list(request, made.site, GatewayForm(), status=200, code=told, made=made)
    return done(response, reverse("stations:gateways", args=[made.site_id]))


def _list(
    request: PageRequest, site: Site, form: GatewayForm, *, status: int, **more: object
) -> HttpResponse:
    rows = Gateway.objects.filter(site=site).select_related("status")
    shown = {
        "site": site,
        "gateways": rows.order_by(F("revoked_at").asc(nulls_first=True), "name"),
        "stations": verified(site),
        "differences": list(
            Difference.objects.filter(site=site).select_related(
                "slot__station__machine", "placement__settings"
            )[:LISTED]
        ),
        "policy": GatewayPolicy.at(site.pk),
        "may_set_policy": may(request.user, Verb.POLICY_SET, site.pk),
        "address": request.build_absolute_uri("/"),
        "may_enrol": may(request.user, Verb.GATEWAY_ENROL, site.pk),
        "form": form,
        **more,
    }
    return render(request, "stations/gateways/gateways.html", shown, status=status)
