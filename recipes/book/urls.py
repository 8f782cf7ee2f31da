"""Addresses of the recipe book."""

from django.urls import URLPattern, path

from recipes.book import pages

page_urls: list[URLPattern] = [
    path("recipes/book/", pages.book, name="book"),
    path("recipes/book.pdf", pages.book_file, name="book_file"),
]
