"""The equipment and what its slots should and do hold."""

from importlib import import_module

from django.apps import AppConfig

# Modules that enter something when they are imported: actions their words in the history's
# vocabulary, charts their ear for new shots, today its panels.
ENTERING = (
    "machine_types.actions",
    "equipment.actions",
    "grinders.actions",
    "lots.actions",
    "slots.read_backs",
    "slots.by_hand",
    "slots.waiting",
    "shots.actions",
    "charts.actions",
    "charts.drifting",
    "charts.keeping",
    "calibrations.actions",
    "replacements.actions",
    "water.actions",
    "importing.actions",
    "handover.actions",
    "opening.actions",
    "gateways.actions",
    "gateways.ingest",
    "causes.actions",
    "causes.sweeping",
    "causes.panel",
    "gateways.panel",
    "opening.panel",
    "today.panels",
)


class StationsConfig(AppConfig):
    """The equipment and what its slots should and do hold."""

    name = "stations"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history how to show the equipment."""
        from stations.calibrations import matters as calibrations
        from stations.causes import matters as causes
        from stations.charts import matters as charts
        from stations.digest import matters as digest
        from stations.equipment import history as equipment
        from stations.gateways import history as gateways
        from stations.gateways import silence
        from stations.grinders import history as grinders
        from stations.machine_types import history as machine_types
        from stations.slots import history as slots
        from stations.slots import matters as held

        for module in ENTERING:
            import_module(f"stations.{module}")
        machine_types.register()
        equipment.register()
        gateways.register()
        grinders.register()
        slots.register()
        for matters in (held, charts, causes, calibrations, silence, digest):
            matters.register()
