"""Addresses of tokens."""

from django.urls import URLPattern, path

from people.tokens import api, pages

page_urls: list[URLPattern] = [
    path("account/tokens/", pages.tokens, name="tokens"),
    path("account/tokens/<int:pk>/revoke/", pages.revoke, name="token_revoke"),
    path("people/<int:pk>/revoke-token/", pages.revoke_somebodys, name="person_token_revoke"),
]
api_urls: list[URLPattern] = [
    path("tokens/", api.Tokens.as_view(), name="tokens"),
    path("tokens/<int:pk>/revoke/", api.Revocation.as_view(), name="token_revoke"),
]
