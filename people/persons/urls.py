"""Addresses of persons."""

from django.urls import URLPattern, path

from people.persons import api, pages

page_urls: list[URLPattern] = [
    path("people/", pages.people, name="list"),
    path("people/add/", pages.add, name="add"),
    path("people/<int:pk>/", pages.edit, name="edit"),
    path("people/<int:pk>/roles/", pages.give_role, name="give_role"),
    path("people/<int:pk>/roles/<int:assignment>/take/", pages.take_role, name="take_role"),
    path("people/<int:pk>/invitation/", pages.invitation, name="invitation"),
]
api_urls: list[URLPattern] = [
    path("me/", api.Me.as_view(), name="me"),
    path("people/", api.People.as_view(), name="people"),
    path("people/<int:pk>/", api.OnePerson.as_view(), name="person"),
    path("people/<int:pk>/invitation/", api.Invitation.as_view(), name="invitation"),
    path("people/<int:pk>/assignments/", api.Assignments.as_view(), name="assignments"),
    path(
        "people/<int:pk>/assignments/<int:assignment>/",
        api.OneAssignment.as_view(),
        name="assignment",
    ),
]
