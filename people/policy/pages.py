"""Page: the group's policy."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.forms import PolicyForm
from people.persons.verbs import Verb
from people.policy.actions import set_policy
from people.policy.models import Policy
from people.signatures.fields import note_signed
from web.form_pages import form_errors, status_of
from web.pages import PageRequest, page


@page(Verb.POLICY_SET, methods="GET POST", everywhere=True)
def policy(request: PageRequest) -> HttpResponse:
    """What is in force, under whose signature, and the form to sign another."""
    current = Policy.current()
    form = _form(request, current)
    status = status_of(form)
    if form.is_bound and form.is_valid():
        typed = form.cleaned_data
        with form_errors(form) as outcome:
            set_policy(
                by=request.user,
                sole_roaster=typed["sole_roaster"],
                boiling=typed["boiling"],
                credentials=form.credentials(),
                expected=typed["revision"],
            )
        if outcome.ok:
            note_signed(request)
            messages.success(request, "Policy signed.")
            return redirect("people:policy")
        status = outcome.status
    return render(
        request, "people/policy/policy.html", {"form": form, "policy": current}, status=status
    )


def _form(request: PageRequest, current: Policy) -> PolicyForm:
    if request.method == "POST":
        return PolicyForm(request.POST, request=request)
    stored = {
        "revision": current.revision,
        "sole_roaster": current.sole_roaster,
        "boiling": current.boiling,
    }
    return PolicyForm(initial=stored, request=request)
