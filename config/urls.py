"""Every address the program answers; each package's own are in its urls.py."""

from django.urls import URLPattern, URLResolver, include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

from audit import urls as audit
from config.health import healthz, livez, readyz
from config.metrics import metrics
from people import urls as people
from recipes import urls as recipes
from recipes.overview.pages import home
from stations import urls as stations
from web.drawings import one_drawing
from web.offline import waiting
from web.service_worker import service_worker

handler400 = "web.problems.bad_request"
handler403 = "web.problems.forbidden"
handler404 = "web.problems.not_found"
handler500 = "web.unavailable.failed"

api: list[URLPattern | URLResolver] = [
    path("", include((recipes.api_urls, "recipes_api"))),
    path("", include((stations.api_urls, "stations_api"))),
    path("", include((people.api_urls, "people_api"))),
    path("", include((audit.api_urls, "audit_api"))),
    path("", include("web.urls")),
    path("schema/", SpectacularAPIView.as_view(), name="api_schema"),
    # The split view keeps its script in a file of its own: the pages allow no inline script.
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="api_schema"), name="api_docs"),
]

urlpatterns: list[URLPattern | URLResolver] = [
    path("healthz", healthz, name="healthz"),
    path("metrics", metrics, name="metrics"),
    path("livez", livez, name="livez"),
    path("readyz", readyz, name="readyz"),
    path("service-worker.js", service_worker, name="service_worker"),
    path("waiting/", waiting, name="waiting"),
    path("drawings/<slug:digest>/", one_drawing, name="drawing"),
    path("", home, name="home"),
    path("", include("recipes.urls")),
    path("", include("stations.urls")),
    path("", include("people.urls")),
    path("", include("audit.urls")),
    path("account/", include("people.sign_in.urls")),
    path("api/v1/", include(api)),
]
