"""What a form says when an action says no, and when somebody else was quicker."""

import pytest
from django import forms
from django.http import QueryDict

from audit.errors import Invalid, NotFound, NotPermitted, Refused, Stale
from web.form_pages import form_errors, look_again, newest_of


class DialForm(forms.Form):
    """A made-up thing to edit."""

    revision = forms.IntegerField(widget=forms.HiddenInput)
    name = forms.CharField(required=False)
    kind = forms.ChoiceField(choices=[("a", "First kind"), ("b", "Second kind")])
    dose = forms.CharField(widget=forms.TextInput(attrs={"data-unit": "g"}))
    loud = forms.BooleanField(required=False)


STORED = {"revision": 7, "name": "", "kind": "b", "dose": "18.5", "loud": True}


def sent(**typed: str) -> DialForm:
    typed = {"revision": "6", "name": "Mine", "kind": "a", "dose": "19", **typed}
    query = QueryDict(mutable=True)
    query.update(typed)
    form = DialForm(query, initial=STORED)
    assert form.is_valid()
    return form


def test_somebody_quicker_loses_nothing_and_shows_what_is_stored() -> None:
    form = sent()
    with form_errors(form) as attempt:
        raise Stale("It was changed meanwhile.", current_revision=7)
    assert (attempt.ok, attempt.stale, attempt.status) == (False, True, 412)
    assert newest_of(form) == [
        ("Name", "\u2013"),
        ("Kind", "Second kind"),
        ("Dose", "18.5 g"),
        ("Loud", "yes"),
    ]
    assert form["name"].value() == "Mine"
    assert form["dose"].value() == "19"
    assert form["revision"].value() == "7"  # the next attempt is made from there


def test_what_does_not_differ_is_not_repeated() -> None:
    form = sent(name="", kind="b", dose="18.5", loud="on")
    with form_errors(form):
        raise Stale("It was changed meanwhile.", current_revision=7)
    assert newest_of(form) == []


def test_any_other_no_leaves_what_was_looked_at() -> None:
    form = sent()
    with form_errors(form) as attempt:
        raise Refused("Not now.", who_may="An owner", how_to_ask="Ask one.")
    assert attempt.status == 409
    assert form.non_field_errors() == ["Not now. Who may: An owner. Ask one."]
    assert newest_of(form) is None
    assert form["revision"].value() == "6"


def test_a_value_is_named_beside_its_field_or_in_words() -> None:
    form = sent()
    with form_errors(form) as attempt:
        raise Invalid("dose", "19", "at most 18 g")
    assert attempt.status == 400
    assert form.errors["dose"] == ["“19” can't be used. Allowed: at most 18 g."]
    with form_errors(form):
        raise Invalid("taper_start", "9", "nothing")
    assert form.non_field_errors()[0].startswith("Taper start: ")


@pytest.mark.parametrize("raised", [NotPermitted("No."), NotFound("Gone.")])
def test_what_is_no_matter_of_the_form_passes_on(raised: Exception) -> None:
    with pytest.raises(type(raised)), form_errors(sent()):
        raise raised


def test_a_page_that_worked_something_out_anew_says_what_is_newest() -> None:
    form = sent()
    look_again(form, {"revision": 9, "name": "never a field that shows"})
    assert form["revision"].value() == "9"
    assert form["name"].value() == "Mine"
