"""Addresses of publishing."""

from django.urls import URLPattern, path

from recipes.publishing import api, pages

page_urls: list[URLPattern] = [
    path("versions/<int:pk>/publish/", pages.where, name="publish"),
    path("versions/<int:pk>/publish/plan/", pages.plan, name="publish_plan"),
    path("publications/", pages.publications, name="publications"),
    path("publications/<int:pk>/", pages.publication, name="publication"),
    path("publications/<int:pk>/progress/", pages.progress, name="publication_progress"),
    path("publications/<int:pk>/stop/", pages.publication_stop, name="publication_stop"),
    path("publications/<int:pk>/resume/", pages.publication_resume, name="publication_resume"),
    path("publications/<int:pk>/cancel/", pages.publication_cancel, name="publication_cancel"),
]
api_urls: list[URLPattern] = [
    path("publications/", api.Publications.as_view(), name="publications"),
    path("publications/plan/", api.Planning.as_view(), name="publication_plan"),
    path("publications/<int:pk>/", api.OnePublication.as_view(), name="publication"),
    path("publications/<int:pk>/stop/", api.Stop.as_view(), name="publication_stop"),
    path("publications/<int:pk>/resume/", api.Resume.as_view(), name="publication_resume"),
    path("publications/<int:pk>/cancel/", api.Cancel.as_view(), name="publication_cancel"),
]
