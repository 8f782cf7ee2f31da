"""Addresses of board."""

from django.urls import URLPattern, path

from stations.board import api, pages

page_urls: list[URLPattern] = [
    path("board/", pages.board, name="board"),
    path("sites/<int:pk>/", pages.site, name="site"),
    path("stations/<int:pk>/", pages.station, name="station"),
    path("stations/<int:pk>/slots/", pages.slots_add, name="slots_add"),
    path("slots/<int:pk>/", pages.slot, name="slot"),
]
api_urls: list[URLPattern] = [
    path("board/", api.Board.as_view(), name="board"),
]
