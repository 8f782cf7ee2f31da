"""Addresses of the shot model's fits."""

from django.urls import path

from recipes.api import shot_fits

urlpatterns = [
    path("shot-fits/", shot_fits.Fits.as_view(), name="shot_fits"),
    path("shot-fits/<int:pk>/", shot_fits.OneFit.as_view(), name="shot_fit"),
    path("shot-fits/<int:pk>/prediction/", shot_fits.Prediction.as_view(), name="prediction"),
]
