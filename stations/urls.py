"""Addresses of stations: pages, and endpoints under /api/v1/."""

from django.urls import URLPattern

from stations.advice import urls as advice
from stations.board import urls as board
from stations.calibrations import urls as calibrations
from stations.causes import urls as causes
from stations.charts import urls as charts
from stations.digest import urls as digest
from stations.equipment import urls as equipment
from stations.gateways import urls as gateways
from stations.grinders import urls as grinders
from stations.handover import urls as handover
from stations.importing import urls as importing
from stations.lots import urls as lots
from stations.machine_types import urls as machine_types
from stations.opening import urls as opening
from stations.replacements import urls as replacements
from stations.shots import urls as shots
from stations.slots import urls as slots
from stations.today import urls as today
from stations.water import urls as water

app_name = "stations"
urlpatterns: list[URLPattern] = [
    *board.page_urls,
    *today.page_urls,
    *opening.page_urls,
    *handover.page_urls,
    *equipment.page_urls,
    *gateways.page_urls,
    *grinders.page_urls,
    *lots.page_urls,
    *machine_types.page_urls,
    *slots.page_urls,
    *shots.page_urls,
    *advice.page_urls,
    *charts.page_urls,
    *causes.page_urls,
    *digest.page_urls,
    *calibrations.page_urls,
    *replacements.page_urls,
    *water.page_urls,
    *importing.page_urls,
]
api_urls: list[URLPattern] = [
    *board.api_urls,
    *machine_types.api_urls,
    *importing.api_urls,
    *equipment.api_urls,
    *gateways.api_urls,
    *grinders.api_urls,
    *lots.api_urls,
    *slots.api_urls,
    *shots.api_urls,
    *advice.api_urls,
    *opening.api_urls,
    *handover.api_urls,
    *charts.api_urls,
    *causes.api_urls,
    *digest.api_urls,
    *calibrations.api_urls,
    *replacements.api_urls,
    *water.api_urls,
]
