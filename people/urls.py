"""Pages of people."""

from django.urls import URLPattern, URLResolver, path

from people.views import people, policy, tokens

app_name = "people"
urlpatterns: list[URLPattern | URLResolver] = [
    path("people/", people.people, name="list"),
    path("people/add/", people.add, name="add"),
    path("people/<int:pk>/", people.edit, name="edit"),
    path("people/<int:pk>/roles/", people.give_role, name="give_role"),
    path("people/<int:pk>/roles/<int:assignment>/take/", people.take_role, name="take_role"),
    path(
        "people/<int:pk>/end-sign-in/",
        people.sign_in_allowed,
        {"allowed": False},
        name="deactivate",
    ),
    path(
        "people/<int:pk>/allow-sign-in/",
        people.sign_in_allowed,
        {"allowed": True},
        name="reactivate",
    ),
    path("people/<int:pk>/invitation/", people.invitation, name="invitation"),
    path("account/tokens/", tokens.tokens, name="tokens"),
    path("account/tokens/<int:pk>/revoke/", tokens.revoke, name="token_revoke"),
    path("policy/", policy.policy, name="policy"),
]
