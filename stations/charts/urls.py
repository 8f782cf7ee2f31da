"""Addresses of charts."""

from django.urls import URLPattern, path

from stations.charts import api, kept_api, pages

page_urls: list[URLPattern] = [
    path("stations/<int:pk>/charts/", pages.charts, name="charts"),
    path("stations/<int:pk>/baseline/", pages.baseline_freeze, name="baseline_freeze"),
    path("stations/<int:pk>/charts/keep/", pages.chart_keep, name="chart_keep"),
    path("charts/<int:pk>/", pages.kept_chart, name="kept_chart"),
]
api_urls: list[URLPattern] = [
    path("stations/<int:pk>/charts/", api.Charts.as_view(), name="charts"),
    path("stations/<int:pk>/baselines/", api.Baselines.as_view(), name="baselines"),
    path("stations/<int:pk>/kept-charts/", kept_api.KeptCharts.as_view(), name="kept_charts"),
    path("kept-charts/<int:pk>/", kept_api.OneKeptChart.as_view(), name="kept_chart"),
    path("stations/<int:pk>/capability/", api.Capability.as_view(), name="capability"),
    path("stations/<int:pk>/equivalence/", api.Equivalence.as_view(), name="equivalence"),
]
