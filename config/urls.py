"""Every address the program answers; each app's own are in its urls.py and api/urls.py."""

from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import (
    SpectacularAPIView,
    SpectacularSwaggerSplitView,
)

from config.health import healthz
from recipes.views.home import home

handler400 = "people.web.handlers.bad_request"
handler403 = "people.web.handlers.forbidden"
handler404 = "people.web.handlers.not_found"
handler500 = "people.web.handlers.failed"

api: list[URLPattern | URLResolver] = [
    path("", include("recipes.api.urls")),
    path("", include("stations.api.urls")),
    path("", include("people.api.urls")),
    path("", include("audit.api.urls")),
    path("schema/", SpectacularAPIView.as_view(), name="api_schema"),
    # The split view keeps its script in a file of its own: the pages allow no inline script.
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="api_schema"), name="api_docs"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("", home, name="home"),
    path("", include("recipes.urls")),
    path("", include("stations.urls")),
    path("", include("people.urls")),
    path("", include("audit.urls")),
    path("account/", include("people.account_urls")),
    path("api/v1/", include(api)),
]
