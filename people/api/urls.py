"""Endpoints of people, under /api/v1/."""

from django.urls import URLPattern, URLResolver, path

from people.api import history_checks, people, policy, problems, tokens

app_name = "people_api"
urlpatterns: list[URLPattern | URLResolver] = [
    path("me/", people.Me.as_view(), name="me"),
    path("people/", people.People.as_view(), name="people"),
    path("people/<int:pk>/", people.OnePerson.as_view(), name="person"),
    path("people/<int:pk>/deactivate/", people.Deactivation.as_view(), name="deactivate"),
    path("people/<int:pk>/reactivate/", people.Reactivation.as_view(), name="reactivate"),
    path("people/<int:pk>/invitation/", people.Invitation.as_view(), name="invitation"),
    path("people/<int:pk>/assignments/", people.Assignments.as_view(), name="assignments"),
    path(
        "people/<int:pk>/assignments/<int:assignment>/",
        people.OneAssignment.as_view(),
        name="assignment",
    ),
    path("tokens/", tokens.Tokens.as_view(), name="tokens"),
    path("tokens/<int:pk>/revoke/", tokens.Revocation.as_view(), name="token_revoke"),
    path("policy/", policy.PolicyInForce.as_view(), name="policy"),
    path("history/checks/", history_checks.Checks.as_view(), name="history_checks"),
    path("history/checks/<int:pk>/", history_checks.OneCheck.as_view(), name="history_check"),
    path("problems/", problems.Problems.as_view(), name="problems"),
]
