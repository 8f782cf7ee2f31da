"""Pages: sessions, one's own and somebody's; ending sign-in, and allowing it again."""

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from people.confirming.pages import confirmed
from people.persons.models import User
from people.persons.pages import person_page
from people.persons.somebodys import WhyForm
from people.persons.verbs import Verb
from people.sign_in.access import access_of
from people.sign_in.actions import deactivate_person, reactivate_person
from people.sign_in.models import SignIn
from people.sign_in.sessions import end_session, end_sessions, here_of
from people.sign_in.single import disconnect
from web.fields import RevisionForm
from web.form_pages import cleaned
from web.lookup import one_or_404
from web.pages import PageRequest, page


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def sign_in_allowed(request: PageRequest, pk: int, *, allowed: bool) -> HttpResponse:
    """End somebody's sign-in, or allow it again."""
    person = one_or_404(User.objects.all(), pk)
    seen = RevisionForm(request.POST)
    if not seen.is_valid():
        return person_page(request, person, status=400)
    action = reactivate_person if allowed else deactivate_person
    action(by=request.user, person=person, revision=seen.cleaned_data["revision"])
    messages.success(request, "Sign-in allowed again." if allowed else "Sign-in ended.")
    return redirect("people:edit", pk)


@page()
def own_sessions(request: PageRequest) -> HttpResponse:
    """Where one is signed in oneself, and what else lets one in."""
    shown = {"access": access_of(request.user), "here": here_of(request), "own": True}
    return render(request, "people/sign_in/sessions.html", shown)


@page(methods="POST")
def end(request: PageRequest, pk: int) -> HttpResponse:
    """End one session: one's own, or as the owner somebody's, who has confirmed and says why."""
    session = one_or_404(SignIn.objects.endable_by(request.user).select_related("user"), pk)
    if session.user_id != request.user.pk:
        return _end_somebodys(request, pk=session.user_id, session=pk)
    return _end(request, session)


@confirmed("people:edit", "pk")
def _end_somebodys(request: PageRequest, *, pk: int, session: int) -> HttpResponse:
    found = one_or_404(SignIn.objects.filter(user_id=pk).select_related("user"), session)
    return _end(request, found)


def _end(request: PageRequest, session: SignIn) -> HttpResponse:
    end_session(by=request.user, session=session, **cleaned(WhyForm(request.POST)))
    messages.success(request, "Session ended.")
    own = session.user_id == request.user.pk
    return redirect("people:sessions") if own else redirect("people:edit", session.user_id)


@page(methods="POST")
def end_others(request: PageRequest) -> HttpResponse:
    """End all of one's own but this one."""
    ended = end_sessions(by=request.user, person=request.user, but=here_of(request))
    messages.success(request, f"{ended} ended.")
    return redirect("people:sessions")


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def end_all_of(request: PageRequest, pk: int) -> HttpResponse:
    """End all sessions of somebody, who may sign in again."""
    person = one_or_404(User.objects.all(), pk)
    why = cleaned(WhyForm(request.POST))
    ended = end_sessions(by=request.user, person=person, but=0, **why)
    messages.success(request, f"{ended} ended.")
    return redirect("people:edit", pk)


class ConnectedForm(forms.Form):
    """The subject that was looked at."""

    subject = forms.CharField(max_length=255)


@page(methods="POST")
@confirmed("people:sessions")
def disconnect_own(request: PageRequest) -> HttpResponse:
    """Forget how one's own single sign-on was connected."""
    disconnect(by=request.user, person=request.user, **cleaned(ConnectedForm(request.POST)))
    messages.success(request, "Disconnected.")
    return redirect("people:sessions")


@page(Verb.PEOPLE_MANAGE, methods="POST", everywhere=True)
@confirmed("people:edit", "pk")
def disconnect_single(request: PageRequest, pk: int) -> HttpResponse:
    """Forget it for somebody else."""
    person = one_or_404(User.objects.all(), pk)
    disconnect(by=request.user, person=person, **cleaned(ConnectedForm(request.POST)))
    messages.success(request, "Disconnected.")
    return redirect("people:edit", pk)
