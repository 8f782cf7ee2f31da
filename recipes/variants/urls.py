"""Addresses of variants."""

from django.urls import URLPattern, path

from recipes.variants import api, pages

page_urls: list[URLPattern] = [
    path("versions/<int:pk>/variants/", pages.variants, name="variants"),
    path("versions/<int:pk>/variants/<int:machine_type>/", pages.variant_edit, name="variant_edit"),
    path(
        "versions/<int:pk>/variants/<int:machine_type>/remove/",
        pages.variant_remove,
        name="variant_remove",
    ),
    path(
        "versions/<int:pk>/variants/<int:machine_type>/draft/",
        pages.variant_draft,
        name="variant_draft",
    ),
]
api_urls: list[URLPattern] = [
    path("versions/<int:pk>/variants/<int:machine_type>/", api.Variant.as_view(), name="variant"),
]
