"""Addresses of web."""

from django.urls import URLPattern, path

from web import problems

app_name = "web_api"
urlpatterns: list[URLPattern] = [
    path("problems/", problems.Problems.as_view(), name="problems"),
]
