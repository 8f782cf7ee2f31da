"""Publications as a list: which of them, and the open ones first."""

from typing import Any

from django import forms
from django.db.models import Q

from people.persons.models import User
from recipes.coffees.models import Recipe
from recipes.publishing.loading import unloaded_somewhere
from recipes.publishing.models import Publication, PublicationQuerySet, PublicationState
from stations.equipment.models import Site

ON_ITS_WAY = 40  # publications of one recipe
OPEN, LOADING = "open", "loading"
STATES = (
    (OPEN, "Open: not everywhere, or not loaded"),
    (PublicationState.RUNNING.value, "Under way or scheduled"),
    (PublicationState.STOPPED.value, "Stopped"),
    (LOADING, "Placed, to load at the bars"),
    (PublicationState.COMPLETE.value, "Complete"),
    (PublicationState.CANCELLED.value, "Cancelled"),
)


class ListForm(forms.Form):
    """What to list; everything is left open at first."""

    state = forms.ChoiceField(required=False, choices=[("", "any"), *STATES])
    recipe = forms.ModelChoiceField(Recipe.objects.none(), required=False, empty_label="any")
    site = forms.ModelChoiceField(Site.objects.none(), required=False, empty_label="any")

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        self.by = by
        recipes = Recipe.objects.select_related("coffee").order_by("coffee__name", "drink")
        self.fields["recipe"].queryset = recipes  # type: ignore[attr-defined]
        self.fields["site"].queryset = Site.objects.covered_by(by)  # type: ignore[attr-defined]

    def narrow(self, rows: PublicationQuerySet) -> PublicationQuerySet:
        """Those that were asked for."""
        chosen: dict[str, Any] = self.cleaned_data
        if chosen["recipe"]:
            rows = rows.of_recipe(chosen["recipe"])
        if chosen["site"]:
            rows = rows.at_sites(frozenset([chosen["site"].pk]))
        return rows.filter(_in_state(chosen["state"], self.by))


def _in_state(state: str, user: User) -> Q:
    """Whether a publication is in a state as it is shown, loading and over told apart."""
    loading = Q(state=PublicationState.COMPLETE, pk__in=unloaded_somewhere(user))
    if state == OPEN:
        return still_open(user)
    if state == LOADING:
        return loading
    if state == PublicationState.COMPLETE:
        return Q(state=state) & ~loading
    return Q(state=state) if state else Q()


def still_open(user: User) -> Q:
    """Under way, stopped, or placed and not loaded where this person may see it."""
    loading = Q(state=PublicationState.COMPLETE, pk__in=unloaded_somewhere(user))
    return Q(state__in=[PublicationState.RUNNING, PublicationState.STOPPED]) | loading


def on_its_way(recipe: Recipe, user: User) -> list[Publication]:
    """Publications of a recipe that are not complete, with their progress; the newest first."""
    rows = Publication.objects.covered_by(user).with_version().with_progress_for(user)
    return list(rows.under_way().of_recipe(recipe).order_by("-id")[:ON_ITS_WAY])
