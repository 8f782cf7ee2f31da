"""Addresses of publishing."""

from django.urls import URLPattern, path

from recipes.publishing import api, pages, plan_pages

page_urls: list[URLPattern] = [
    path("versions/<int:pk>/publish/", plan_pages.where, name="publish"),
    path("versions/<int:pk>/publish/plan/", plan_pages.plan, name="publish_plan"),
    path("publications/", pages.publications, name="publications"),
    path("publications/<int:pk>/", pages.publication, name="publication"),
    path(
        "publications/at/<int:pk>/cancel/", pages.publication_site_cancel,
        name="publication_site_cancel",
    ),
    path("publications/<int:pk>/progress/", pages.progress, name="publication_progress"),
    path("publications/<int:pk>/stop/", pages.publication_stop, name="publication_stop"),
    path("publications/<int:pk>/resume/", pages.publication_resume, name="publication_resume"),
    path("publications/<int:pk>/cancel/", pages.publication_cancel, name="publication_cancel"),
]  # fmt: skip
api_urls: list[URLPattern] = [
    path("publications/", api.Publications.as_view(), name="publications"),
    path("publications/plan/", api.Planning.as_view(), name="publication_plan"),
    path("publications/<int:pk>/", api.OnePublication.as_view(), name="publication"),
    path("publications/<int:pk>/stop/", api.Stop.as_view(), name="publication_stop"),
    path("publications/<int:pk>/resume/", api.Resume.as_view(), name="publication_resume"),
    path("publications/<int:pk>/cancel/", api.Cancel.as_view(), name="publication_cancel"),
    path("publications/at/<int:pk>/", api.OnePart.as_view(), name="publication_site"),
    path(
        "publications/at/<int:pk>/cancel/", api.CancelSite.as_view(),
        name="publication_site_cancel",
    ),
]  # fmt: skip
