"""Addresses of slots."""

from django.urls import URLPattern, path

from stations.slots import api, pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/sheet/", pages.sheet, name="sheet"),
    path("sites/<int:pk>/to-key/", pages.to_key, name="to_key"),
    path("slots/<int:pk>/read-back/", pages.read_slot_back, name="read_back"),
    path("slots/<int:pk>/set/", pages.set_slot_by_hand, name="set_by_hand"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/settings/", api.SiteSettings.as_view(), name="settings"),
    path("sites/<slug:code>/read-backs/", api.SiteReadBacks.as_view(), name="report"),
    path("slots/", api.Slots.as_view(), name="slots"),
    path("slots/<int:pk>/", api.OneSlot.as_view(), name="slot"),
    path("slots/<int:pk>/placements/", api.Placements.as_view(), name="placements"),
    path("slots/<int:pk>/read-backs/", api.ReadBacks.as_view(), name="read_backs"),
    path("slots/<int:pk>/set-by-hand/", api.ByHand.as_view(), name="set_by_hand"),
]
