"""The forms of the pages about people."""

from typing import Any

from django import forms
from django.http import QueryDict

from people.persons.models import User, all_sites
from people.persons.verbs import Role
from web.fields import SeenRevision

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

    revision = SeenRevision()

    @classmethod
    def of(cls, person: User, sent: QueryDict | None = None) -> "PersonEditForm":
        """Filled with what is stored now, or with what was sent."""
        stored = {"name": person.name, "email": person.email, "revision": person.revision}
        return cls(sent, initial=stored)


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
