"""Recipes, decisions about them, and their publication."""

from django.apps import AppConfig

# Pages that the equipment offers a link to, by the names it knows them by.
LINKS = {
    "ask_for_change": "recipes:request_new",
    "ask_for_permit": "recipes:permit_ask",
    "beverage_balance": "recipes:beverage",
    "calibration": "recipes:calibration",
    "delivery": "recipes:delivery",
    "draft_from_shot": "recipes:draft_captured",
    "grant_permit": "recipes:permit_new",
    "grid": "recipes:grid",
    "overwritten": "recipes:overwritten",
    "tolerance": "recipes:tolerance",
    "use_as_evidence": "recipes:request_evidence",
    "year_of_site": "recipes:year",
}


class RecipesConfig(AppConfig):
    """Recipes, decisions about them, and their publication."""

    name = "recipes"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the equipment what there is to set, and the history how to show it."""
        from audit.registry import register_parameters
        from recipes.coffees import history as coffees
        from recipes.coffees.actions import register_name_use
        from recipes.formula import parameters
        from recipes.menus import history as menus
        from recipes.modelling import actions as modelling  # noqa: F401 - registers its words
        from recipes.permits import history as permits
        from recipes.permits.content import deviations_of
        from recipes.planning import plan as planning
        from recipes.planning import served
        from recipes.publishing import history as publishing
        from recipes.publishing.actions import refuse_on_its_way
        from recipes.recalibration import history as recalibration
        from recipes.requests import history as requests
        from recipes.tastings import history as tastings
        from recipes.variants import history as variants
        from recipes.versions import history as versions
        from recipes.versions.dial_in import register_deviations
        from recipes.versions.review import names_coffee, register_withdrawal_check
        from stations.machine_types import catalogue
        from stations.slots import signed

        known = parameters.PARAMETERS.values()
        units = {each.code: each.unit for each in known}
        labels = [(each.code, each.label) for each in known]
        register_parameters(lambda: labels, lambda code: units.get(code, ""))
        catalogue.enter(parameters.machine_settings(), dict(parameters.ENDINGS))
        documents = coffees, versions, variants, menus, requests, tastings
        for package in (*documents, planning, publishing, permits, recalibration):
            package.register()
        _open_matters()
        signed.register(served.misfits)
        register_name_use(names_coffee)
        register_withdrawal_check(refuse_on_its_way)
        register_deviations(deviations_of)
        _tell_the_bar()
        _tell_people()


def _open_matters() -> None:
    """What roasters may read of the history: what was asked, decided, placed and read back."""
    from django.apps import apps

    from audit.registry import register_matters

    ours = [model._meta.db_table for model in apps.get_app_config("recipes").get_models()]
    slots = ("stations_placement", "stations_controlsettings", "stations_readback")
    plans = ("recipes_publication", "recipes_permit", "recipes_permitchange")
    register_matters(*ours, *slots, of_several_sites=plans)


def _tell_people() -> None:
    """The pages we have, what they tell of what is above, and what is worth hearing of."""
    from recipes.menus import matters as menus
    from recipes.permits import matters as permits
    from recipes.publishing import listing
    from recipes.publishing import matters as publishing
    from recipes.requests import matters as requests
    from recipes.tolerance import matters as tolerance
    from recipes.versions import matters as versions
    from recipes.versions import standing
    from web.links import register_link

    standing.register_waiting(listing.on_its_way)
    for name, url_name in LINKS.items():
        register_link(name, url_name)
    for package in (requests, versions, menus, permits, publishing, tolerance):
        package.register()


def _tell_the_bar() -> None:
    """What the bar shows of lots and recipes, which it does not know."""
    from recipes.coffees import on_the_bar
    from recipes.menus import on_the_bar as menus
    from recipes.menus.departures import departing_slots
    from recipes.modelling.foretelling import foretell
    from recipes.overview import today  # noqa: F401 - registers its panels
    from recipes.permits.actions import end_overtaken
    from recipes.publishing import opening
    from recipes.versions.holding import notes_read
    from recipes.versions.lineage import earlier_contents
    from stations.advice import model
    from stations.charts import lineage
    from stations.lots import shelf
    from stations.lots.actions import lot_opened
    from stations.shots import notes
    from stations.slots import arranged, bases
    from stations.slots.placing import stepped_out

    model.register(foretell)
    lineage.register(earlier_contents)
    notes.register(notes_read)
    shelf.register(on_the_bar.find, on_the_bar.ageing)
    arranged.register(menus.arranged_at, departing_slots)
    bases.register_naming(menus.part_of)
    bases.register_waiting(opening.waited_for)
    shelf.register_beginning(opening.beginning_at)
    stepped_out.connect(end_overtaken, dispatch_uid="recipes.permits.actions")
    lot_opened.connect(opening.when_opened, dispatch_uid="recipes.publishing.opening")
