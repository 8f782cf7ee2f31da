"""Addresses of charts."""

from django.urls import URLPattern, path

from stations.charts import api, pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/charts/", pages.charts, name="charts"),
    path("stations/<int:pk>/baseline/", pages.baseline_freeze, name="baseline_freeze"),
]
api_urls: list[URLPattern] = [
    path("stations/<int:pk>/charts/", api.Charts.as_view(), name="charts"),
    path("stations/<int:pk>/baselines/", api.Baselines.as_view(), name="baselines"),
    path("stations/<int:pk>/capability/", api.Capability.as_view(), name="capability"),
    path("stations/<int:pk>/equivalence/", api.Equivalence.as_view(), name="equivalence"),
]
