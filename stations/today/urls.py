"""Addresses of a bar's day."""

from django.urls import URLPattern, path

from stations.today import pages

page_urls: list[URLPattern] = [path("sites/<int:pk>/today/", pages.today, name="today")]
