"""Addresses of modelling."""

from django.urls import URLPattern, path

from recipes.modelling import api, pages

page_urls: list[URLPattern] = [
    path("versions/<int:pk>/model/", pages.prediction, name="prediction"),
    path("stations/<int:pk>/fit/", pages.fit_ask, name="fit_ask"),
    path("shot-fits/<int:pk>/progress/", pages.fit_progress, name="fit_progress"),
]
api_urls: list[URLPattern] = [
    path("versions/<int:pk>/foretold/", api.PredictedShot.as_view(), name="predicted_shot"),
    path("versions/<int:pk>/nearest-fit/", api.NearestFit.as_view(), name="nearest_fit"),
    path("shot-fits/", api.Fits.as_view(), name="shot_fits"),
    path("shot-fits/<int:pk>/", api.OneFit.as_view(), name="shot_fit"),
    path("shot-fits/<int:pk>/prediction/", api.Prediction.as_view(), name="prediction"),
]
