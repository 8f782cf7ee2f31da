"""Addresses of versions."""

from django.urls import URLPattern, path

from recipes.versions import api, draft_api, draft_pages, pages, review_api, review_pages

page_urls: list[URLPattern] = [
    path("recipes/", pages.recipes, name="recipes"),
    path("recipes/add/", pages.recipe_add, name="recipe_add"),
    path("recipes/<int:pk>/", pages.recipe, name="recipe"),
    path("recipes/<int:pk>/compare/", pages.compare, name="compare"),
    path("recipes/<int:pk>/draft/", draft_pages.draft_first, name="draft_first"),
    path("shots/<int:pk>/draft/", draft_pages.draft_captured, name="draft_captured"),
    path("versions/<int:pk>/", pages.version, name="version"),
    path("versions/<int:pk>/draft/", draft_pages.draft_new, name="draft_new"),
    path("versions/<int:pk>/edit/", draft_pages.version_edit, name="version_edit"),
    path("versions/<int:pk>/move/", draft_pages.version_move, name="version_move"),
    path("versions/<int:pk>/submit/", review_pages.version_submit, name="version_submit"),
    path("versions/<int:pk>/return/", review_pages.version_return, name="version_return"),
    path("versions/<int:pk>/approve/", review_pages.version_approve, name="version_approve"),
    path("versions/<int:pk>/comment/", review_pages.version_comment, name="version_comment"),
    path("versions/<int:pk>/withdraw/", review_pages.version_withdraw, name="version_withdraw"),
]
api_urls: list[URLPattern] = [
    path("recipes/<int:pk>/versions/", api.RecipeVersions.as_view(), name="recipe_versions"),
    path("recipes/<int:pk>/compare/", api.Comparison.as_view(), name="compare"),
    path("shots/<int:pk>/draft/", draft_api.ShotDraft.as_view(), name="shot_draft"),
    path("versions/", api.Versions.as_view(), name="versions"),
    path("versions/<int:pk>/", api.OneVersion.as_view(), name="version"),
    path("versions/<int:pk>/formula/", api.VersionFormula.as_view(), name="version_formula"),
    path("versions/<int:pk>/move/", draft_api.Move.as_view(), name="version_move"),
    path("versions/<int:pk>/submit/", review_api.Submission.as_view(), name="version_submit"),
    path("versions/<int:pk>/return/", review_api.Return.as_view(), name="version_return"),
    path("versions/<int:pk>/approve/", review_api.Approval.as_view(), name="version_approve"),
    path("versions/<int:pk>/withdraw/", review_api.Withdrawal.as_view(), name="version_withdraw"),
    path("versions/<int:pk>/comments/", review_api.Comments.as_view(), name="version_comments"),
]
