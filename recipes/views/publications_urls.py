"""Addresses of publications."""

from django.urls import path

from recipes.views import publications, publish

urlpatterns = [
    path("versions/<int:pk>/publish/", publish.where, name="publish"),
    path("versions/<int:pk>/publish/plan/", publish.plan, name="publish_plan"),
    path("publications/", publications.publications, name="publications"),
    path("publications/<int:pk>/", publications.publication, name="publication"),
    path("publications/<int:pk>/progress/", publications.progress, name="publication_progress"),
    path("publications/<int:pk>/stop/", publications.publication_stop, name="publication_stop"),
    path(
        "publications/<int:pk>/resume/", publications.publication_resume, name="publication_resume"
    ),
    path(
        "publications/<int:pk>/cancel/", publications.publication_cancel, name="publication_cancel"
    ),
]
