"""Addresses of exporting."""

from django.urls import URLPattern, path

from audit.exporting import api, pages

page_urls: list[URLPattern] = [
    path("history/ledger/bundle/", pages.whole, name="bundle"),
    path("history/ledger/bundle/tables/", pages.whole_with_tables, name="bundle_with_tables"),
    path("history/export/json-lines/", pages.json_lines_of, name="export_json_lines"),
    path("history/export/csv/", pages.csv_of, name="export_csv"),
]
api_urls: list[URLPattern] = [
    path("history/json-lines/", api.JsonLinesView.as_view(), name="export_json_lines"),
    path("history/csv/", api.CsvView.as_view(), name="export_csv"),
    path("history/bundle/", api.BundleView.as_view(), name="bundle"),
    path("history/bundle/tables/", api.BundleWithTablesView.as_view(), name="bundle_with_tables"),
]
