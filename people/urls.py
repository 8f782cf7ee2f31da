"""Addresses of people: pages, and endpoints under /api/v1/."""

from django.urls import URLPattern

from people import check_urls
from people.persons import urls as persons
from people.policy import urls as policy
from people.tokens import urls as tokens

app_name = "people"
urlpatterns: list[URLPattern] = [
    *persons.page_urls,
    *tokens.page_urls,
    *policy.page_urls,
]
api_urls: list[URLPattern] = [
    *persons.api_urls,
    *tokens.api_urls,
    *policy.api_urls,
    *check_urls.api_urls,
]
