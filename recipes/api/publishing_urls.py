"""Endpoints of publications and permits."""

from django.urls import path

from recipes.api import permits, publications

urlpatterns = [
    path("publications/", publications.Publications.as_view(), name="publications"),
    path("publications/plan/", publications.Plan.as_view(), name="publication_plan"),
    path("publications/<int:pk>/", publications.OnePublication.as_view(), name="publication"),
    path("publications/<int:pk>/stop/", publications.Stop.as_view(), name="publication_stop"),
    path("publications/<int:pk>/resume/", publications.Resume.as_view(), name="publication_resume"),
    path("publications/<int:pk>/cancel/", publications.Cancel.as_view(), name="publication_cancel"),
    path("permits/", permits.Permits.as_view(), name="permits"),
    path("permits/plan/", permits.PermitPlan.as_view(), name="permit_plan"),
    path("permits/<int:pk>/", permits.OnePermit.as_view(), name="permit"),
    path("permits/<int:pk>/end/", permits.PermitEnd.as_view(), name="permit_end"),
]
