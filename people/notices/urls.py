"""Addresses of notices."""

from django.urls import URLPattern, path

from people.notices import pages

page_urls: list[URLPattern] = [
    path("notices/", pages.notices, name="notices"),
    path("policy/notices/", pages.notice_rules, name="notice_rules"),
    path("notices/stop/<str:token>/", pages.notices_stop, name="notices_stop"),
]
