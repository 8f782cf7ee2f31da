"""Pages: who is here, and in which roles."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.persons.actions import (
    assign_role,
    change_person,
    create_person,
    deactivate_person,
    reactivate_person,
    remove_assignment,
)
from people.persons.forms import PersonEditForm, PersonForm, RevisionForm, RoleForm
from people.persons.invitations import invite
from people.persons.models import Assignment, User
from people.persons.permissions import may_everywhere
from people.persons.verbs import Verb
from web.form_pages import form_errors, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page

LINK = "invitation_link"  # carried over the redirect in the session, shown once


@page(Verb.PEOPLE_MANAGE)
def people(request: PageRequest) -> HttpResponse:
    """Everybody, those who may sign in first."""
    everybody = User.objects.prefetch_related("assignments__site").order_by("-is_active", "name")
    context = {
        "people": everybody,
        "may_add": may_everywhere(request.user, Verb.PEOPLE_MANAGE),
    }
    return render(request, "people/persons/list.html", context)


@page(Verb.PEOPLE_MANAGE, methods="GET POST", everywhere=True)
def add(request: PageRequest) -> HttpResponse:
    """Add somebody; the next page gives them roles and shows the link to set a password."""
    form = PersonForm(posted(request))
    status = status_of(form)
    if request.method == "POST" and form.is_valid():
        with form_errors(form) as outcome:
            person = create_person(by=request.user, **form.cleaned_data)
        if outcome.ok:
            _invite(request, person)
            return redirect("people:edit", person.pk)
        status = outcome.status
    return render(request, "people/persons/add.html", {"form": form}, status=status)


@page(Verb.PEOPLE_MANAGE, methods="GET POST")
def edit(request: PageRequest, pk: int) -> HttpResponse:
    """Name, address and roles of one person; an owner of one site gives roles there, no more."""
    if request.method == "POST":
        require_for_page(request, Verb.PEOPLE_MANAGE, everywhere=True)
    person = one_or_404(User.objects.all(), pk)
    form = PersonEditForm(request.POST) if request.method == "POST" else PersonEditForm.of(person)
    status = status_of(form)
    if form.is_bound and form.is_valid():
        expected = form.cleaned_data.pop("revision")
        with form_errors(form) as outcome:
            change_person(by=request.user, person=person, expected=expected, **form.cleaned_data)
        if outcome.ok:
            messages.success(request, "Saved.")
            return redirect("people:edit", pk)
        status = outcome.status
    return _person_page(request, person, form, RoleForm(), status)


@page(Verb.PEOPLE_MANAGE, methods="POST")
def give_role(request: PageRequest, pk: int) -> HttpResponse:
    """Give a role."""
    person = one_or_404(User.objects.all(), pk)
    form = RoleForm(request.POST)
    status = status_of(form)
    if form.is_valid():
        given = form.cleaned_data
        with form_errors(form) as outcome:
            assign_role(by=request.user, person=person, role=given["role"], site_id=given["site"])
        if outcome.ok:
            messages.success(request, "Role given.")
            return redirect("people:edit", pk)
        status = outcome.status
    return _person_page(request, person, PersonEditForm.of(person), form, status)


@page(Verb.PEOPLE_MANAGE, methods="POST")
def take_role(request: PageRequest, pk: int, assignment: int) -> HttpResponse:
    """Take a role away."""
    person = one_or_404(User.objects.all(), pk)
    given = one_or_404(Assignment.objects.of(person), assignment)
    remove_assignment(by=request.user, assignment=given)
    messages.success(request, "Role taken away.")
    return redirect("people:edit", pk)


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
def sign_in_allowed(request: PageRequest, pk: int, *, allowed: bool) -> HttpResponse:
    """End somebody's sign-in, or allow it again."""
    person = one_or_404(User.objects.all(), pk)
    seen = RevisionForm(request.POST)
    if not seen.is_valid():
        return _person_page(request, person, PersonEditForm.of(person), RoleForm(), 400)
    action = reactivate_person if allowed else deactivate_person
    action(by=request.user, person=person, expected=seen.cleaned_data["revision"])
    messages.success(request, "May sign in again." if allowed else "May no longer sign in.")
    return redirect("people:edit", pk)


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
def invitation(request: PageRequest, pk: int) -> HttpResponse:
    """A new link to set a password."""
    _invite(request, one_or_404(User.objects.all(), pk))
    return redirect("people:edit", pk)


def _invite(request: PageRequest, person: User) -> None:
    link = invite(by=request.user, person=person, absolute=request.build_absolute_uri)
    request.session[LINK] = {"person": person.pk, "link": link}


def _person_page(
    request: PageRequest, person: User, form: PersonEditForm, role_form: RoleForm, status: int
) -> HttpResponse:
    kept = request.session.pop(LINK, None)
    shown = {
        "person": person,
        "form": form,
        "role_form": role_form,
        "assignments": Assignment.objects.of(person),
        "may_change": may_everywhere(request.user, Verb.PEOPLE_MANAGE),
        "link": kept["link"] if kept and kept["person"] == person.pk else "",
    }
    return render(request, "people/persons/edit.html", shown, status=status)
