"""Pages of the history."""

from django.urls import path

from audit import exports, intact_pages, ledger_pages, views

app_name = "audit"
urlpatterns = [
    path("history/", views.history, name="history"),
    path("history/<int:pk>/", views.entry, name="entry"),
    path("history/of/<str:subject_type>/<int:subject_id>/", views.timeline, name="timeline"),
    path("history/<int:pk>/receipt/", ledger_pages.receipt, name="receipt"),
    path("history/ledger/", ledger_pages.ledger, name="ledger"),
    path("history/ledger/checkpoint/", ledger_pages.checkpoint, name="checkpoint"),
    path("history/ledger/bundle/", exports.whole, name="bundle"),
    path("history/intact/", intact_pages.intact, name="intact"),
    path("history/intact/<int:pk>/", intact_pages.check, name="check"),
    path("history/export/json-lines/", exports.json_lines_of, name="export_json_lines"),
    path("history/export/csv/", exports.csv_of, name="export_csv"),
]
