"""Page: the group's policy."""

from django import forms
from django.http import HttpResponse
from django.urls import reverse

from people.confirming.pages import confirmed
from people.persons.verbs import Verb
from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from people.signatures.fields import SigningForm, note_signed
from web.fields import SeenRevision
from web.form_pages import form_page, posted
from web.pages import PageRequest, page


class PolicyForm(SigningForm):
    """The policy to sign."""

    revision = SeenRevision()
    sole_roaster = forms.BooleanField(
        label="A sole roaster may approve their own drafts",
        required=False,
        help_text="Each such approval says so in its signature and in the history.",
    )
    boiling = forms.ChoiceField(
        label="A brew temperature above the local boiling point",
        choices=Boiling.choices,
        widget=forms.RadioSelect,
    )


@page(Verb.POLICY_SET, methods="GET POST", everywhere=True)
@confirmed()
def policy(request: PageRequest) -> HttpResponse:
    """What is in force, under whose signature, and the form to sign another."""
    current = Policy.current()
    stored = {
        "revision": current.revision,
        "sole_roaster": current.sole_roaster,
        "boiling": current.boiling,
    }
    form = PolicyForm(posted(request), initial=stored, request=request)

    def act() -> str:
        typed = form.cleaned_data
        set_policy(
            by=request.user,
            revision=typed["revision"],
            sole_roaster=typed["sole_roaster"],
            boiling=typed["boiling"],
            credentials=form.credentials(),
        )
        note_signed(request)
        return reverse("people:policy")

    return form_page(
        request,
        "people/policy/policy.html",
        form,
        act,
        said="Policy signed.",
        context={"policy": current},
    )
