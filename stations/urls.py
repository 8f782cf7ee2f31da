"""Pages of stations."""

from django.urls import URLPattern, URLResolver, path

from stations.views import (
    abilities,
    board,
    calibrations,
    charts,
    importing,
    machines,
    reading,
    shots,
    sites,
    slots,
    stations,
    water,
)

app_name = "stations"
urlpatterns: list[URLPattern | URLResolver] = [
    path("board/", board.board, name="board"),
    path("sites/", sites.sites, name="sites"),
    path("sites/add/", sites.site_add, name="site_add"),
    path("sites/<int:pk>/", sites.site, name="site"),
    path("sites/<int:pk>/edit/", sites.site_edit, name="site_edit"),
    path("sites/<int:pk>/to-key/", reading.to_key, name="to_key"),
    path("sites/<int:pk>/barometer/", calibrations.barometer, name="barometer"),
    path("sites/<int:pk>/water/", water.water, name="water"),
    path("sites/<int:pk>/water/add/", water.water_add, name="water_add"),
    path("calibrations/", calibrations.calibrations, name="calibrations"),
    path("machines/add/", machines.machine_add, name="machine_add"),
    path("machines/<int:pk>/", machines.machine, name="machine"),
    path("machines/<int:pk>/edit/", machines.machine_edit, name="machine_edit"),
    path("abilities/", abilities.ability_sets, name="ability_sets"),
    path("abilities/add/", abilities.ability_set_add, name="ability_set_add"),
    path("abilities/<int:pk>/", abilities.ability_set, name="ability_set"),
    path("abilities/<int:pk>/edit/", abilities.ability_set_edit, name="ability_set_edit"),
    path("stations/add/", stations.station_add, name="station_add"),
    path("stations/<int:pk>/", stations.station, name="station"),
    path("stations/<int:pk>/edit/", stations.station_edit, name="station_edit"),
    path("stations/<int:pk>/slots/", stations.slots_add, name="slots_add"),
    path("stations/<int:pk>/sheet/", stations.sheet, name="sheet"),
    path(
        "stations/<int:pk>/calibrations/new/", calibrations.calibration_new, name="calibration_new"
    ),
    path("stations/<int:pk>/charts/", charts.charts, name="charts"),
    path("stations/<int:pk>/baseline/", charts.baseline_freeze, name="baseline_freeze"),
    path("at/<slug:code>/", stations.at, name="at"),
    path("slots/<int:pk>/", slots.slot, name="slot"),
    path("slots/<int:pk>/read-back/", reading.read_slot_back, name="read_back"),
    path("slots/<int:pk>/set/", slots.set_slot_by_hand, name="set_by_hand"),
    path("slots/<int:pk>/shots/new/", shots.shot_log, name="shot_log"),
    path("shots/<int:pk>/", shots.shot, name="shot"),
    path("shots/<int:pk>/correct/", shots.shot_correct, name="shot_correct"),
    path("equipment/import/", importing.import_page, name="import"),
    path("equipment/import/example.csv", importing.import_example, name="import_example"),
]
