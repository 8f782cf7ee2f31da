"""Submitting, returning, approving, commenting on and withdrawing a version."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render

from audit.errors import DomainError, Invalid
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.versions.complete import sentences
from recipes.versions.differences import formula_rows
from recipes.versions.forms import ApproveForm, CommentForm, ReturnForm, SubmitForm, WithdrawForm
from recipes.versions.holding import slots_holding
from recipes.versions.models import Version
from recipes.versions.pages import shown_version, version_context
from recipes.versions.questions import problems_beside, questions_about
from recipes.versions.review import (
    approve,
    barred,
    comment,
    own_work,
    return_to_author,
    submit,
    withdraw,
)
from web.form_pages import Attempt, cleaned, form_errors, form_page, look_again, posted
from web.pages import PageRequest, page


@page(Verb.RECIPE_SUBMIT, methods="POST")
def version_submit(request: PageRequest, pk: int) -> HttpResponse:
    """Submit a draft; what is missing or unusual is listed on the page, to be put right or said."""
    shown = shown_version(pk)
    form = SubmitForm(request.POST, questions=questions_about(shown, request.user))
    if not form.is_valid() and "revision" in form.errors:
        problems = ["Revision: submit it from its page, which sends what was shown."]
        return _not_submitted(request, shown, form, problems, 400)
    with form_errors(form) as attempt:
        cleaned(form)
        submit(
            by=request.user, version=shown, revision=form.cleaned_data["revision"],
            answers=form.answers(),
        )  # fmt: skip
    if attempt.ok:
        messages.success(request, f"{shown} is in review: another head roaster signs it.")
        return redirect(shown)
    problems = [] if attempt.error is None else _sentences(attempt.error)
    return _not_submitted(request, shown, form, problems, attempt.status)


def _not_submitted(
    request: PageRequest, version: Version, form: SubmitForm, problems: list[str], status: int
) -> HttpResponse:
    """Why not; the questions are asked once nothing else is in the way."""
    if not form.answered:  # asked for the first time: nothing was left out yet
        form = SubmitForm(initial={"revision": version.revision}, questions=form.questions)
    context = version_context(version) | {"problems": problems, "form": form}
    return render(request, "recipes/versions/version_incomplete.html", context, status=status)


@page(Verb.RECIPE_RETURN, methods="GET POST")
def version_return(request: PageRequest, pk: int) -> HttpResponse:
    """Send a version back to its author with comments."""
    shown = shown_version(pk)
    codes = list(shown.stated)
    seen = {"revision": shown.revision}
    form = ReturnForm(posted(request), initial=seen, codes=codes)
    return form_page(
        request,
        "recipes/versions/version_return.html",
        form,
        lambda: return_to_author(
            by=request.user,
            version=shown,
            comments=form.comments(),
            revision=form.cleaned_data["revision"],
        ),
        said="{} went back to its author.",
        context=version_context(shown) | {"by_code": shown.stated},
    )


@page(Verb.RECIPE_APPROVE, methods="GET POST")
def version_approve(request: PageRequest, pk: int) -> HttpResponse:
    """Read what is to be signed, and sign it."""
    shown = shown_version(pk)
    initial = {"seen_digest": shown.content_digest}
    form = ApproveForm(posted(request), initial=initial, request=request)

    def act() -> Version:
        digest = form.cleaned_data["seen_digest"]
        approve(by=request.user, version=shown, credentials=form.credentials(), seen=digest)
        note_signed(request)
        return shown

    def context(attempt: Attempt) -> dict[str, object]:
        if not attempt.ok:
            look_again(form)  # what the page shows now is what the next signature is for
        return _approval_context(request, shown)

    template = "recipes/versions/version_approve.html"
    return form_page(request, template, form, act, said="{} is approved.", context=context)


def _approval_context(request: PageRequest, version: Version) -> dict[str, object]:
    current = Version.objects.approved().with_formula().filter(recipe=version.recipe).first()
    own, stopped = own_work(version, request.user), barred(version, request.user)
    return version_context(version) | {
        "current": current,
        "differences": formula_rows(current, version) if current else [],
        "questions": questions_about(version, request.user),
        "barred": stopped,
        "sole_roaster": own and not stopped,
    }


@page(Verb.RECIPE_RETURN, methods="POST")
def version_comment(request: PageRequest, pk: int) -> HttpResponse:
    """Say something about a version without returning it."""
    shown, form = shown_version(pk), CommentForm(request.POST)
    if not form.is_valid():
        raise Invalid("comment", request.POST.get("text"), "text, at most 2000 characters")
    comment(by=request.user, version=shown, text=form.cleaned_data["text"])
    return redirect(f"{shown.get_absolute_url()}#comments")


@page(Verb.RECIPE_WITHDRAW, methods="GET POST")
def version_withdraw(request: PageRequest, pk: int) -> HttpResponse:
    """Take a version out of use."""
    shown = shown_version(pk)
    seen = {"revision": shown.revision}
    form = WithdrawForm(posted(request), initial=seen)
    return form_page(
        request,
        "recipes/versions/version_withdraw.html",
        form,
        lambda: withdraw(by=request.user, version=shown, **form.cleaned_data),
        said="{} is withdrawn.",
        context=version_context(shown) | {"slots": slots_holding(shown)},
    )


def _sentences(error: DomainError) -> list[str]:
    """What is in the way; questions stand in the form."""
    if not isinstance(error, Invalid):
        return [error.message]
    return sentences(problems_beside(error))
