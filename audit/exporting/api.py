"""The history to take away over the API: the same lines, filters and rules as on the pages."""

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from audit.exporting.bundle import bundle
from audit.exporting.filtered import csv_lines, json_lines
from audit.exporting.pages import CSV, JSON_LINES, asked, download
from audit.exporting.with_tables import bundle_with_tables
from audit.reading.access import HistoryEndpoint, require_every_site
from audit.reading.api import PARAMETERS

FILTERS = [one for one in PARAMETERS if one.name not in {"limit", "before", "after"}]


class AsJsonLines(JSONRenderer):
    """For whoever asks for nothing else; what goes wrong is told as everywhere in the API."""

    media_type = JSON_LINES


class AsTable(JSONRenderer):
    """The same for a table."""

    media_type = "text/csv"


class JsonLinesView(HistoryEndpoint):
    """A filtered history, one entry a line."""

    query = FILTERS
    renderer_classes = (AsJsonLines, JSONRenderer)

    @extend_schema(responses={(200, JSON_LINES): OpenApiTypes.STR})
    def get(self, request: Request) -> StreamingHttpResponse:
        """All entries that fit, newest first, in the very bytes that are sealed; streamed."""
        return download(json_lines(*asked(request.query_params, request.user)), JSON_LINES, "jsonl")


class CsvView(HistoryEndpoint):
    """A filtered history as a table."""

    query = FILTERS
    renderer_classes = (AsTable, JSONRenderer)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.STR})
    def get(self, request: Request) -> StreamingHttpResponse:
        """All entries that fit, newest first, each with its signature; streamed."""
        return download(csv_lines(*asked(request.query_params, request.user)), CSV, "csv")


class BundleView(HistoryEndpoint):
    """The whole history."""

    renderer_classes = (AsJsonLines, JSONRenderer)

    @extend_schema(responses={(200, JSON_LINES): OpenApiTypes.STR})
    def get(self, request: Request) -> StreamingHttpResponse:
        """Entries, fingerprints and checkpoints, for `python -m audit.ledger verify`; streamed.

        For those who read the history of every site.
        """
        require_every_site(request.user)
        return download(bundle(), JSON_LINES, "bundle.jsonl")


class BundleWithTablesView(HistoryEndpoint):
    """The whole history and the tables."""

    renderer_classes = (AsJsonLines, JSONRenderer)

    @extend_schema(responses={(200, JSON_LINES): OpenApiTypes.STR})
    def get(self, request: Request) -> StreamingHttpResponse:
        """The governed tables as they stand, then the bundle: its check compares the two.

        For those who read the history of every site.
        """
        require_every_site(request.user)
        return download(bundle_with_tables(), JSON_LINES, "tables.bundle.jsonl")
