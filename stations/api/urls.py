"""Endpoints of stations, under /api/v1/."""

from django.urls import URLPattern, URLResolver, path

from stations.api import charts, gateways, machines, measuring, sites, slots, stations, water

app_name = "stations_api"
urlpatterns: list[URLPattern | URLResolver] = [
    path("board/", sites.Board.as_view(), name="board"),
    path("sites/", sites.Sites.as_view(), name="sites"),
    path("sites/<slug:code>/", sites.OneSite.as_view(), name="site"),
    path("sites/<slug:code>/settings/", gateways.SiteSettings.as_view(), name="settings"),
    path("sites/<slug:code>/read-backs/", gateways.SiteReadBacks.as_view(), name="report"),
    path("sites/<slug:code>/water/", water.Water.as_view(), name="water"),
    path("ability-sets/", machines.AbilitySets.as_view(), name="ability_sets"),
    path("ability-sets/<int:pk>/", machines.OneAbilitySet.as_view(), name="ability_set"),
    path("machines/", machines.Machines.as_view(), name="machines"),
    path("machines/<int:pk>/", machines.OneMachine.as_view(), name="machine"),
    path("stations/", stations.Stations.as_view(), name="stations"),
    path("stations/<int:pk>/", stations.OneStation.as_view(), name="station"),
    path("stations/<int:pk>/slots/", stations.StationSlots.as_view(), name="station_slots"),
    path("stations/<int:pk>/calibrations/", measuring.Calibrations.as_view(), name="calibrations"),
    path("stations/<int:pk>/charts/", charts.Charts.as_view(), name="charts"),
    path("stations/<int:pk>/baselines/", charts.Baselines.as_view(), name="baselines"),
    path("stations/<int:pk>/capability/", charts.Capability.as_view(), name="capability"),
    path("stations/<int:pk>/equivalence/", charts.Equivalence.as_view(), name="equivalence"),
    path("slots/", slots.Slots.as_view(), name="slots"),
    path("slots/<int:pk>/", slots.OneSlot.as_view(), name="slot"),
    path("slots/<int:pk>/placements/", slots.Placements.as_view(), name="placements"),
    path("slots/<int:pk>/read-backs/", slots.ReadBacks.as_view(), name="read_backs"),
    path("slots/<int:pk>/set-by-hand/", slots.ByHand.as_view(), name="set_by_hand"),
    path("slots/<int:pk>/shots/", measuring.Shots.as_view(), name="shots"),
    path("shots/<int:pk>/", measuring.OneShot.as_view(), name="shot"),
    path(
        "shots/<int:pk>/corrections/",
        measuring.ShotCorrections.as_view(),
        name="shot_corrections",
    ),
    path("equipment/import/", stations.Import.as_view(), name="import"),
]
