"""Addresses of coffees, recipes, versions and change requests."""

from django.urls import URLPattern, path

from recipes.api import coffees, decisions, reference, requests, review, versions

_VERSION = "versions/<int:pk>/"
_REQUEST = "change-requests/<int:pk>/"

urlpatterns: list[URLPattern] = [
    path("parameters/", reference.Parameters.as_view(), name="parameters"),
    path("work/", reference.Work.as_view(), name="work"),
    path("coffees/", coffees.Coffees.as_view(), name="coffees"),
    path("coffees/<int:pk>/", coffees.OneCoffee.as_view(), name="coffee"),
    path("coffees/<int:pk>/lots/", coffees.Lots.as_view(), name="lots"),
    path("recipes/", coffees.Recipes.as_view(), name="recipes"),
    path("recipes/<int:pk>/", coffees.OneRecipe.as_view(), name="recipe"),
    path("recipes/<int:pk>/versions/", versions.RecipeVersions.as_view(), name="recipe_versions"),
    path("recipes/<int:pk>/compare/", versions.Comparison.as_view(), name="compare"),
    path("shots/<int:pk>/draft/", versions.ShotDraft.as_view(), name="shot_draft"),
    path("versions/", versions.Versions.as_view(), name="versions"),
    path(_VERSION, versions.OneVersion.as_view(), name="version"),
    path(f"{_VERSION}formula/", versions.VersionFormula.as_view(), name="version_formula"),
    path(f"{_VERSION}submit/", review.Submission.as_view(), name="version_submit"),
    path(f"{_VERSION}return/", review.Return.as_view(), name="version_return"),
    path(f"{_VERSION}approve/", review.Approval.as_view(), name="version_approve"),
    path(f"{_VERSION}withdraw/", review.Withdrawal.as_view(), name="version_withdraw"),
    path(f"{_VERSION}comments/", review.Comments.as_view(), name="version_comments"),
    path("change-requests/", requests.Requests.as_view(), name="requests"),
    path(_REQUEST, requests.OneRequest.as_view(), name="request"),
    path(f"{_REQUEST}accept/", decisions.Acceptance.as_view(), name="request_accept"),
    path(f"{_REQUEST}decline/", decisions.Declining.as_view(), name="request_decline"),
    path(f"{_REQUEST}ask-back/", decisions.AskingBack.as_view(), name="request_ask_back"),
    path(f"{_REQUEST}rebase/", decisions.Rebase.as_view(), name="request_rebase"),
    path(f"{_REQUEST}take-back/", requests.TakingBack.as_view(), name="request_take_back"),
]
