"""Addresses of board."""

from django.urls import URLPattern, path

from stations.board import pages

page_urls: list[URLPattern] = [
    path("board/", pages.board, name="board"),
]
