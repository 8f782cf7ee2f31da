"""Addresses of machine types."""

from django.urls import URLPattern, path

from stations.machine_types import api, pages

page_urls: list[URLPattern] = [
    path("abilities/", pages.ability_sets, name="ability_sets"),
    path("abilities/add/", pages.ability_set_add, name="ability_set_add"),
    path("abilities/<int:pk>/", pages.ability_set, name="ability_set"),
    path("abilities/<int:pk>/edit/", pages.ability_set_edit, name="ability_set_edit"),
]
api_urls: list[URLPattern] = [
    path("ability-sets/", api.AbilitySets.as_view(), name="ability_sets"),
    path("ability-sets/<int:pk>/", api.OneAbilitySet.as_view(), name="ability_set"),
]
