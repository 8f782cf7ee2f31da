"""Addresses of people: pages, and endpoints under /api/v1/."""

from django.urls import URLPattern

from people.auditing import urls as auditing
from people.devices import urls as devices
from people.notices import urls as notices
from people.persons import urls as persons
from people.pins import urls as pins
from people.policy import urls as policy
from people.sign_in import urls as sign_in
from people.tablets import urls as tablets
from people.tokens import urls as tokens
from people.units import urls as units

app_name = "people"
urlpatterns: list[URLPattern] = [
    *persons.page_urls,
    *sign_in.page_urls,
    *tokens.page_urls,
    *units.page_urls,
    *policy.page_urls,
    *pins.page_urls,
    *tablets.page_urls,
    *notices.page_urls,
    *devices.page_urls,
]
api_urls: list[URLPattern] = [
    *persons.api_urls,
    *sign_in.api_urls,
    *units.api_urls,
    *tokens.api_urls,
    *policy.api_urls,
    *tablets.api_urls,
    *auditing.api_urls,
]
