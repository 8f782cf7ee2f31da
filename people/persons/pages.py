"""Pages: who is here, and in which roles."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from people.confirming.pages import confirmed
from people.mailing.refusals import refusal_of
from people.persons.actions import (
    assign_role,
    change_person,
    create_person,
    remove_assignment,
)
from people.persons.forms import PersonEditForm, PersonForm, RoleForm
from people.persons.invitations import invite
from people.persons.models import Assignment, User
from people.persons.permissions import may, may_everywhere
from people.persons.verbs import Verb
from web.form_pages import form_errors, form_page, posted, status_of
from web.lookup import one_or_404
from web.pages import PageRequest, page, require_for_page
from web.typed import Typed

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
@confirmed()
def add(request: PageRequest) -> HttpResponse:
    """Add somebody; the next page gives them roles and shows the link to set a password."""
    form = PersonForm(posted(request))

    def act() -> str:
        person = create_person(by=request.user, **form.cleaned_data)
        _invite(request, person)
        return reverse("people:edit", args=[person.pk])

    return form_page(request, "people/persons/add.html", form, act, said="", context={})


@page(Verb.PEOPLE_MANAGE, methods="GET POST")
@confirmed()
def edit(request: PageRequest, pk: int) -> HttpResponse:
    """Name, address and roles of one person; an owner of one site gives roles there, no more."""
    if request.method == "POST":
        require_for_page(request, Verb.PEOPLE_MANAGE, everywhere=True)
    person = one_or_404(User.objects.all(), pk)
    form = PersonEditForm.of(person, posted(request))
    status = status_of(form)
    if form.is_bound and form.is_valid():
        with form_errors(form) as outcome:
            change_person(by=request.user, person=person, **form.cleaned_data)
        if outcome.ok:
            messages.success(request, "Saved.")
            return redirect("people:edit", pk)
        status = outcome.status
    return person_page(request, person, status=status, form=form)


@page(Verb.PEOPLE_MANAGE, methods="POST")
@confirmed("people:edit", "pk")
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
    return person_page(request, person, status=status, role_form=form)


@page(Verb.PEOPLE_MANAGE, methods="POST")
@confirmed("people:edit", "pk")
def take_role(request: PageRequest, pk: int, assignment: int) -> HttpResponse:
    """Take a role away."""
    person = one_or_404(User.objects.all(), pk)
    given = one_or_404(Assignment.objects.of(person), assignment)
    remove_assignment(by=request.user, assignment=given)
    messages.success(request, "Role taken away.")
    return redirect("people:edit", pk)


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def invitation(request: PageRequest, pk: int) -> HttpResponse:
    """A new link to set a password."""
    _invite(request, one_or_404(User.objects.all(), pk))
    return redirect("people:edit", pk)


def _invite(request: PageRequest, person: User) -> None:
    link = invite(by=request.user, person=person, absolute=request.build_absolute_uri)
    request.session[LINK] = {"person": person.pk, "link": link}


def person_page(
    request: PageRequest,
    person: User,
    *,
    status: int,
    form: PersonEditForm | None = None,
    role_form: RoleForm | None = None,
) -> HttpResponse:
    """One person's page, with whichever of its forms was sent."""
    kept = request.session.pop(LINK, None)
    typed = Typed(request)
    form, role_form = form or PersonEditForm.of(person), role_form or RoleForm()
    typed.refill(form, reverse("people:edit", args=[person.pk]))
    typed.refill(role_form, reverse("people:give_role", args=[person.pk]))
    shown = {
        "person": person,
        "form": form,
        "role_form": role_form,
        "assignments": Assignment.objects.of(person),
        "may_change": may_everywhere(request.user, Verb.PEOPLE_MANAGE),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
        "refusal": refusal_of(person.pk),
        "link": kept["link"] if kept and kept["person"] == person.pk else "",
    }
    return render(request, "people/persons/edit.html", shown, status=status)
