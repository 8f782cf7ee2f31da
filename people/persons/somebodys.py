"""What lets somebody in is ended by themselves, or by an owner of all sites, who says why."""

from typing import Any

from django import forms
from rest_framework import serializers

from audit.errors import Invalid, Subject
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.standing import require_in_full
from people.persons.verbs import Verb
from web.text import line_of

REASON = 200  # characters


class WhyForm(forms.Form):
    """Why something of somebody else's is ended; of one's own it may be left out."""

    reason = forms.CharField(label="Why", max_length=REASON, required=False)


class WhyIn(serializers.Serializer[Any]):
    """Why: needed where it is somebody else's."""

    reason = serializers.CharField(max_length=REASON, required=False, default="", allow_blank=True)


def require_over(by: User, person_pk: int, what: str, subject: Subject) -> None:
    """One's own in full, anybody's as the owner of all sites. Raises NotPermitted."""
    require_in_full(by, what, subject)
    if person_pk != by.pk:
        require_everywhere(by, Verb.PEOPLE_MANAGE, subject)


def require_why(by: User, person_pk: int, reason: str) -> None:
    """Raise Invalid (reason) where it is somebody else's and nothing is said, or too much."""
    if person_pk != by.pk:
        line_of("reason", reason, REASON)
    elif len(reason) > REASON:
        raise Invalid("reason", reason, f"at most {REASON} characters")
