"""Addresses of gateways: their pages, and what they ask."""

from django.urls import URLPattern, path

from stations.gateways import api, pages

page_urls: list[URLPattern] = [
    path("sites/<int:pk>/gateways/", pages.gateways, name="gateways"),
    path("sites/<int:pk>/gateways/policy/", pages.gateway_policy, name="gateway_policy"),
    path("gateways/<int:pk>/", pages.gateway, name="gateway"),
    path("gateways/<int:pk>/code/", pages.gateway_code, name="gateway_code"),
    path("gateways/<int:pk>/revoke/", pages.gateway_revoke, name="gateway_revoke"),
]
api_urls: list[URLPattern] = [
    path("gateway/enrol", api.Enrolment.as_view(), name="gateway_enrol"),
    path("gateway/key", api.NewKey.as_view(), name="gateway_key"),
    path("gateway/settings", api.Settings.as_view(), name="gateway_settings"),
    path("gateway/events", api.Events.as_view(), name="gateway_events"),
    path("gateway/schemas/<str:name>.json", api.Schema.as_view(), name="gateway_schema"),
]
