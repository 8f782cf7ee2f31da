"""The first page: what waits for whoever signed in."""

from django.http import HttpResponse
from django.shortcuts import render

from people.persons.permissions import may
from people.persons.verbs import Verb
from recipes.overview.home import sites_of, work_lists
from web.pages import PageRequest, page


@page()
def home(request: PageRequest) -> HttpResponse:
    """Work lists with something in them, then the names of those without."""
    lists = work_lists(request.user)
    context = {
        "lists": [one for one in lists if one.items],
        "quiet": [one.title for one in lists if not one.items],
        "sites": sites_of(request.user),
        "may_read_history": may(request.user, Verb.HISTORY_VIEW),
    }
    return render(request, "recipes/overview/home.html", context)
