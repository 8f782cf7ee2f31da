"""Addresses of policy."""

from django.urls import URLPattern, path

from people.policy import api, pages

page_urls: list[URLPattern] = [
    path("policy/", pages.policy, name="policy"),
]
api_urls: list[URLPattern] = [
    path("policy/", api.PolicyInForce.as_view(), name="policy"),
]
