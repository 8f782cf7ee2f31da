"""Addresses of web."""

from django.urls import URLPattern, path

from web import problems_api

app_name = "web_api"
urlpatterns: list[URLPattern] = [
    path("problems/", problems_api.Problems.as_view(), name="problems"),
]
