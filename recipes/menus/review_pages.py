"""What is decided about a menu's version, page by page."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import capfirst

from audit.errors import DomainError, NotPermitted
from people.persons.verbs import Verb
from people.signatures.fields import note_signed
from recipes.menus.forms import RemarkForm
from recipes.menus.models import MenuVersion
from recipes.menus.pages import shown_menu_version, version_context
from recipes.menus.review import approve, own_work, return_to_author, submit, withdraw
from recipes.versions.forms import ApproveForm, WithdrawForm
from web.errors import kind_of
from web.fields import RevisionForm
from web.form_pages import Attempt, form_page, look_again, posted
from web.pages import PageRequest, page


@page(Verb.RECIPE_SUBMIT, methods="POST")
def menu_version_submit(request: PageRequest, pk: int) -> HttpResponse:
    """Submit a draft; what stands in the way is told on its page."""
    shown, form = shown_menu_version(pk), RevisionForm(request.POST)
    problem, status = "Submit it from its page, which sends what was shown.", 400
    if form.is_valid():
        try:
            submit(by=request.user, menu_version=shown, revision=form.cleaned_data["revision"])
        except NotPermitted:
            raise
        except DomainError as error:
            problem, status = str(error), kind_of(error).status
        else:
            messages.success(request, capfirst(f"{shown} is in review: somebody else signs it."))
            return redirect(shown)
    context = version_context(shown, request.user) | {"problems": [problem], "may_draft": True}
    return render(request, "recipes/menus/menu_version.html", context, status=status)


@page(Verb.RECIPE_RETURN, methods="GET POST")
def menu_version_return(request: PageRequest, pk: int) -> HttpResponse:
    """Send a version back to its author, saying why."""
    shown = shown_menu_version(pk)
    form = RemarkForm(posted(request), initial={"revision": shown.revision})
    return form_page(
        request,
        "recipes/menus/menu_version_decide.html",
        form,
        lambda: return_to_author(by=request.user, menu_version=shown, **form.cleaned_data),
        said="{} went back to its author.",
        context=version_context(shown, request.user)
        | {"title": "Return it", "submit": "Return to the author"},
    )


@page(Verb.RECIPE_APPROVE, methods="GET POST")
def menu_version_approve(request: PageRequest, pk: int) -> HttpResponse:
    """Read what is to be signed, and sign it."""
    shown = shown_menu_version(pk)
    initial = {"seen_digest": shown.content_digest}
    form = ApproveForm(posted(request), initial=initial, request=request)

    def act() -> MenuVersion:
        digest = form.cleaned_data["seen_digest"]
        approve(by=request.user, menu_version=shown, credentials=form.credentials(), seen=digest)
        note_signed(request)
        return shown

    def context(attempt: Attempt) -> dict[str, object]:
        if not attempt.ok:
            look_again(form)  # what the page shows now is what the next signature is for
        around = version_context(shown, request.user)
        own = own_work(shown, request.user)
        approved = MenuVersion.objects.approved().with_menu().with_drinks()
        current = approved.filter(menu=shown.menu).exclude(pk=shown.pk).first()
        return around | {
            "current": current,
            "changes": _changes(current, shown),
            "sole_roaster": own and not around["barred"],
        }

    template = "recipes/menus/menu_version_approve.html"
    return form_page(request, template, form, act, said="{} is approved.", context=context)


def _changes(old: MenuVersion | None, new: MenuVersion) -> list[tuple[int, object, object]]:
    """Slot number, what the approved version says, what this one says; where they differ."""
    if old is None:
        return []
    before, after = old.arrangement, new.arrangement
    numbers = sorted({*before, *after})
    return [(n, before.get(n), after.get(n)) for n in numbers if before.get(n) != after.get(n)]


@page(Verb.RECIPE_WITHDRAW, methods="GET POST")
def menu_version_withdraw(request: PageRequest, pk: int) -> HttpResponse:
    """Take a version out of use."""
    shown = shown_menu_version(pk)
    form = WithdrawForm(posted(request), initial={"revision": shown.revision})
    return form_page(
        request,
        "recipes/menus/menu_version_decide.html",
        form,
        lambda: withdraw(by=request.user, menu_version=shown, **form.cleaned_data),
        said="{} is withdrawn.",
        context=version_context(shown, request.user)
        | {
            "title": "Withdraw it",
            "submit": "Withdraw",
            "alarm": True,
            "what": "It goes out of use for good. Slots keep what they hold.",
        },
    )
