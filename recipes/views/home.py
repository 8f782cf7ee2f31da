"""The first page: what waits for whoever signed in."""

from django.http import HttpResponse
from django.shortcuts import render

from people.permissions import may
from people.verbs import Verb
from people.web.pages import PageRequest, page
from recipes.home import sites_of, work_lists


@page
def home(request: PageRequest) -> HttpResponse:
    """Work lists with something in them, then the names of those without."""
    lists = work_lists(request.user)
    context = {
        "lists": [one for one in lists if one.items],
        "quiet": [one.title for one in lists if not one.items],
        "sites": sites_of(request.user),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "recipes/home.html", context)
