"""The forms of the people, tokens and policy pages."""

from typing import Any

from django import forms

from people.persons.models import User, all_sites
from people.persons.verbs import Role
from people.policy.models import Boiling
from people.signatures.fields import SigningForm
from people.tokens.models import Scope

ALL_SITES = "all"


class PersonForm(forms.Form):
    """Name and address, and the revision they were read at."""

    name = forms.CharField(
        label="Name",
        max_length=80,
        help_text="As it is printed beside signatures.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    email = forms.CharField(
        label="E-mail address",
        max_length=254,
        help_text="To sign in with.",
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )


class PersonEditForm(PersonForm):
    """The same for somebody who is here already."""

    revision = forms.IntegerField(widget=forms.HiddenInput)

    @classmethod
    def of(cls, person: User) -> "PersonEditForm":
        """Filled with what is stored now."""
        stored = {"name": person.name, "email": person.email, "revision": person.revision}
        return cls(initial=stored)


class RevisionForm(forms.Form):
    """A button's form: only the revision that was looked at."""

    revision = forms.IntegerField(widget=forms.HiddenInput)


class RoleForm(forms.Form):
    """A role to give, and where."""

    # Nothing is chosen beforehand: the first of a list would be given by a slip of the finger.
    role = forms.ChoiceField(label="Role", choices=[("", "Choose a role"), *Role.choices])
    site = forms.TypedChoiceField(
        label="Where", coerce=lambda chosen: None if chosen == ALL_SITES else int(chosen)
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        sites = [(site.pk, str(site)) for site in all_sites()]
        site_field = self.fields["site"]
        assert isinstance(site_field, forms.TypedChoiceField)
        site_field.choices = [("", "Choose where"), (ALL_SITES, "All sites"), *sites]


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
        label="Usable for",
        min_value=1,
        max_value=366,
        initial=90,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "data-unit": "d"}),
    )


class PolicyForm(SigningForm):
    """The policy to sign."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
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
