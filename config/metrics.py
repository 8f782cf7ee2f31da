"""`/metrics`, for Prometheus: what processes counted, and the figures of the whole deployment."""

import hmac
import os

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST, REGISTRY, CollectorRegistry, generate_latest
from prometheus_client.multiprocess import MultiProcessCollector

from config import figures  # noqa: F401 - registers them
from web.metrics import Figures


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """For whoever has METRICS_TOKEN, as a bearer token; to anybody else there is nothing here."""
    token: str = settings.METRICS_TOKEN
    given = request.headers.get("Authorization", "")
    if not token or not hmac.compare_digest(given.encode(), f"Bearer {token}".encode()):
        raise Http404
    counted = REGISTRY
    if "PROMETHEUS_MULTIPROC_DIR" in os.environ:
        counted = CollectorRegistry()
        MultiProcessCollector(counted)  # type: ignore[no-untyped-call]
    whole = CollectorRegistry()
    whole.register(Figures())
    text = generate_latest(counted) + generate_latest(whole)
    return HttpResponse(text, content_type=CONTENT_TYPE_LATEST)
