"""Pages of the history."""

from django.urls import path

from audit import views

app_name = "audit"
urlpatterns = [
    path("history/", views.history, name="history"),
    path("history/<int:pk>/", views.entry, name="entry"),
    path("history/of/<str:subject_type>/<int:subject_id>/", views.timeline, name="timeline"),
]
