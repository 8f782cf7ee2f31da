"""Page: ending somebody's sign-in, and allowing it again."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect

from people.confirming.pages import confirmed
from people.persons.models import User
from people.persons.pages import person_page
from people.persons.verbs import Verb
from people.sign_in.actions import deactivate_person, reactivate_person
from web.fields import RevisionForm
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
