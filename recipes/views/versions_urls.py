"""Addresses of versions."""

from django.urls import path

from recipes.views import foretold, review, versions

urlpatterns = [
    path("recipes/<int:pk>/compare/", versions.compare, name="compare"),
    path("recipes/<int:pk>/draft/", versions.draft_first, name="draft_first"),
    path("shots/<int:pk>/draft/", versions.draft_captured, name="draft_captured"),
    path("versions/<int:pk>/", versions.version, name="version"),
    path("versions/<int:pk>/draft/", versions.draft_new, name="draft_new"),
    path("versions/<int:pk>/edit/", versions.version_edit, name="version_edit"),
    path("versions/<int:pk>/follows/", versions.version_appraisal, name="version_appraisal"),
    path("versions/<int:pk>/model/", foretold.foretold, name="foretold"),
    path("stations/<int:pk>/fit/", foretold.fit_ask, name="fit_ask"),
    path("shot-fits/<int:pk>/progress/", foretold.fit_progress, name="fit_progress"),
    path("versions/<int:pk>/submit/", review.version_submit, name="version_submit"),
    path("versions/<int:pk>/return/", review.version_return, name="version_return"),
    path("versions/<int:pk>/approve/", review.version_approve, name="version_approve"),
    path("versions/<int:pk>/comment/", review.version_comment, name="version_comment"),
    path("versions/<int:pk>/withdraw/", review.version_withdraw, name="version_withdraw"),
]
