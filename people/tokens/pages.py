"""Pages: one's own tokens for programs, and the end of somebody else's."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache

from people.confirming.pages import confirmed
from people.persons.models import User
from people.persons.somebodys import WhyForm
from people.persons.verbs import Verb
from people.tokens.actions import make_token, revoke_token
from people.tokens.models import ApiToken, Scope
from web.form_pages import cleaned, form_errors, posted, status_of
from web.lookup import one_or_404
from web.once import done
from web.pages import PageRequest, page
from web.typed import Typed


class TokenForm(forms.Form):
    """A token to make."""

    name = forms.CharField(label="What it is for", max_length=60)
    scopes = forms.MultipleChoiceField(
        label="May",
        choices=Scope.choices,
        widget=forms.CheckboxSelectMultiple,
        help_text="Never more than you may do yourself.",
    )
    days = forms.IntegerField(
        label="Valid for",
        min_value=1,
        max_value=366,
        initial=90,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "data-unit": "d"}),
    )


@never_cache
@page(Verb.TOKEN_MAKE, methods="GET POST")
@confirmed()
def tokens(request: PageRequest) -> HttpResponse:
    """List them and make one; the secret stands on the page that answers, and never again."""
    form = TokenForm(posted(request))
    Typed(request).refill(form, request.path)
    status, secret = status_of(form), ""
    if request.method == "POST" and form.is_valid():
        with form_errors(form) as outcome:
            secret = make_token(by=request.user, **form.cleaned_data)[1]
        status = outcome.status
    shown = {
        "form": TokenForm() if secret else form,
        "secret": secret,
        "tokens": ApiToken.objects.filter(user=request.user),
    }
    response = render(request, "people/tokens/tokens.html", shown, status=status)
    return done(response, request.path) if secret else response


@page(Verb.TOKEN_MAKE, methods="POST")
@confirmed("people:tokens")
def revoke(request: PageRequest, pk: int) -> HttpResponse:
    """End one of one's own at once."""
    token = one_or_404(ApiToken.objects.filter(user=request.user), pk)
    revoke_token(by=request.user, token=token)
    messages.success(request, "Token revoked.")
    return redirect("people:tokens")


class SomebodysTokenForm(WhyForm):
    """Which of their tokens, and why it is ended."""

    token = forms.IntegerField(min_value=1, max_value=2**63 - 1, widget=forms.HiddenInput())


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def revoke_somebodys(request: PageRequest, pk: int) -> HttpResponse:
    """End one of somebody else's at once."""
    person = one_or_404(User.objects.all(), pk)
    given = cleaned(SomebodysTokenForm(request.POST))
    token = one_or_404(ApiToken.objects.filter(user=person), given["token"])
    revoke_token(by=request.user, token=token, reason=given["reason"])
    messages.success(request, "Token revoked.")
    return redirect("people:edit", pk)
