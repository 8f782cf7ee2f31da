"""A working day at the cast's two bars: something of everything, so that no page stands empty."""

from dataclasses import dataclass, replace
from datetime import time, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from django.utils import timezone
from pytest_django import Settings

from audit.capture.models import Entry
from audit.checking.actions import start_check
from audit.checking.models import HistoryCheck
from audit.checking.run import run_check
from audit.reconciling.actions import ask as ask_to_compare
from audit.reconciling.models import Reconciliation
from audit.reconciling.run import run_reconciliation
from audit.sealing.seal import seal
from people.persons.models import User
from people.tablets.actions import add_tablet
from people.tablets.models import Tablet
from people.tokens.actions import make_token
from people.tokens.models import Scope
from recipes.coffees.models import Coffee, Recipe, RoastLot
from recipes.menus.models import Menu, MenuVersion
from recipes.permits.asking import ask_for_permit
from recipes.permits.models import Permit
from recipes.publishing import run
from recipes.publishing.models import Publication, PublicationSite
from recipes.publishing.timing import When
from recipes.requests.models import ChangeRequest
from recipes.tastings.models import Tasting
from recipes.versions.models import Version
from stations.calibrations.models import Calibration
from stations.causes.models import CauseFinding
from stations.charts.charting import RULES, charts_of
from stations.charts.keeping import digest_of, figures_of, keep_chart
from stations.charts.lineage import contents_of
from stations.charts.models import KeptChart
from stations.equipment.models import Machine, Site, Slot, Station
from stations.gateways.actions import add_gateway
from stations.gateways.models import Gateway
from stations.grinders.models import Grinder
from stations.lots.models import LotOpening
from stations.machine_types.models import MachineType
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.shots.models import CheckShot
from stations.slots.models import Placement
from stations.slots.read_backs import read_back
from tests.audit.sealed import unguarded
from tests.bar import Bar, vary
from tests.cast import Cast
from tests.findings import finding_at
from tests.grinders import grinder_of, opened_at
from tests.publishing import Publish, send
from tests.recipes import shelf
from tests.recipes.calibrating import measure
from tests.recipes.menus import spring
from tests.recipes.modelling.fitted import fitted
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.hands import other_version
from tests.recipes.shelf import ask
from tests.recipes.tastings import panel

__all__ = ["Scene", "scene", "send"]  # the fixtures, for this folder's conftest

SHOT = Weighed(Decimal("18.1"), Decimal("38.6"), Decimal(27), Decimal("8.9"), "Ran fast")


@dataclass(frozen=True)
class Scene:
    """Everything a page may be about."""

    site: Site
    machine: Machine
    station: Station
    slot: Slot
    free_slot: Slot
    machine_type: MachineType
    recipe: Recipe
    approved: Version
    in_review: Version
    draft: Version
    publication: Publication
    later: Publication
    request: ChangeRequest
    overtaken: ChangeRequest
    permit_request: ChangeRequest
    permit: Permit
    entry: Entry
    person: User
    shot: CheckShot
    kept_chart: KeptChart
    calibration: Calibration
    check: HistoryCheck
    reconciliation: Reconciliation
    tasting: Tasting
    opened: Tasting
    fitted: Station
    opening: LotOpening
    tablet: Tablet
    menu_version: MenuVersion

    @property
    def coffee(self) -> Coffee:
        """What is brewed."""
        return self.approved.recipe.coffee

    @property
    def menu(self) -> Menu:
        """What both sites follow; one of them departs from it."""
        return self.menu_version.menu

    @property
    def menu_draft(self) -> MenuVersion:
        """One that is not submitted."""
        return MenuVersion.objects.get(menu__name="Summer")

    @property
    def menu_in_review(self) -> MenuVersion:
        """One that waits for a signature."""
        return MenuVersion.objects.get(menu__name="Autumn")

    @property
    def grinder(self) -> Grinder | Station:
        """What the bag is open at."""
        return self.opening.where

    @property
    def finding(self) -> CauseFinding:
        """What was found at one of its stations."""
        return CauseFinding.objects.get()

    @property
    def gateway(self) -> Gateway:
        """One that waits to be enrolled."""
        return Gateway.objects.get(site=self.site)

    @property
    def part(self) -> PublicationSite:
        """What waits for tomorrow, at the site."""
        part: PublicationSite = self.later.sites.get(site=self.site)
        return part

    @property
    def plain(self) -> MachineType:
        """That for which the draft has a variant."""
        return MachineType.objects.get(name="Plain")

    @property
    def lot(self) -> RoastLot:
        """What is open."""
        return RoastLot.objects.get(pk=self.opening.lot_id)


@pytest.fixture
def scene(bar: Bar, send: Publish, settings: Settings, tmp_path: Path) -> Scene:
    """Published everywhere, one slot found changed, one on permit, one request open."""
    settings.LEDGER_KEY_FILE = str(tmp_path / "ledger_key")
    cast, publication = bar.cast, send()
    run.run(publication.pk)
    slot, other, third, *_ = bar.slots
    _found(cast.shop_lead, {slot: "262", other: "280"})
    recipe = shelf.make_recipe(cast)
    shots = [log_shot(slot=slot, shot=SHOT, by=cast.barista) for _ in range(3)]
    return Scene(
        site=cast.site,
        machine=slot.station.machine,
        station=slot.station,
        slot=slot,
        free_slot=Slot.objects.create(station=slot.station, number=9),
        machine_type=bar.full,
        recipe=bar.version.recipe,
        approved=bar.version,
        in_review=shelf.make_in_review(cast, recipe),
        draft=vary(shelf.make_draft(cast, bar.version.recipe), bar.plain),
        publication=publication,
        later=send(bar.version, when=_tomorrow()),
        request=ask(cast, bar.version),
        overtaken=_overtaken(cast),
        permit_request=_permit_asked(cast, bar.version, slot),
        permit=permit([third], cast.head_roaster),
        entry=Entry.objects.latest("pk"),
        person=cast.barista,
        shot=shots[0],
        kept_chart=_kept(slot, cast),
        fitted=fitted(slot.station, bar.version, shots, cast.shop_lead).station,
        tasting=panel.plan(cast),
        opened=panel.opened(cast, 9),
        opening=opened_at(grinder_of(slot.station, cast.owner), recipe.coffee, cast.head_roaster),
        tablet=_made_by_the_lead(cast.shop_lead, cast.site),
        check=_checked(cast.owner),
        reconciliation=_reconciled(cast.owner, slot.station.machine),
        calibration=measure(slot.station, "4.2", cast.technician),
        menu_version=_followed_menu(bar),
    )


def _followed_menu(bar: Bar) -> MenuVersion:
    """With a slot number that holds nothing yet, and one that waits for something else.

    Beside it a draft, and one in review.
    """
    spring.drafted(bar, {1: bar.version}, "Summer")
    spring.in_review(bar, {1: bar.version}, "Autumn")
    Slot.objects.create(station=bar.stations[0], number=3)
    short = other_version(bar)
    menu = spring.approved(bar, {1: bar.version, 2: short, 3: short})
    spring.follows(menu.menu, bar.cast)
    return menu


def _made_by_the_lead(lead: User, site: Site) -> Tablet:
    """A token, a gateway and a tablet to enrol, and a finding."""
    add_gateway(by=lead, site=site, name="Box under the counter")
    station = Station.objects.filter(machine__site=site).order_by("pk")[0]
    finding_at(station, lead, "probe")
    make_token(by=lead, name="till", scopes=(Scope.READ,), days=30)
    return add_tablet(by=lead, site_id=site.pk, name="Counter left")[0]


def _permit_asked(cast: Cast, base: Version, slot: Slot) -> ChangeRequest:
    return ask_for_permit(
        by=cast.shop_lead, base=base, site=cast.site, slots=[slot.pk],
        changes={"brew_temperature": Decimal("91.5")}, reason="Gasket worn",
        ends_at=timezone.now() + timedelta(days=3),
    )  # fmt: skip


def _kept(slot: Slot, cast: Cast) -> KeptChart:
    """A chart as it stands, once there is a shot that differs."""
    log_shot(slot=slot, shot=replace(SHOT, beverage_mass=Decimal("41.2")), by=cast.barista)
    content = next(iter(contents_of(slot.station)))
    found = charts_of(slot.station, content, "beverage_mass", RULES["nelson"])
    assert found is not None
    return keep_chart(
        by=cast.shop_lead, station=slot.station, content_digest=content, code="beverage_mass",
        rules="nelson", seen=digest_of(figures_of(found, "nelson")),
    )  # fmt: skip


def _tomorrow() -> When:
    return When((timezone.now() + timedelta(days=1)).date(), time(6, 30))


def _overtaken(cast: Cast) -> ChangeRequest:
    """A request against a version that has been superseded since."""
    recipe = shelf.make_recipe(cast, drink="lungo")
    request = ask(cast, shelf.make_approved(cast, recipe))
    shelf.make_approved(cast, recipe, {**shelf.FORMULA, "dose_mass": shelf.number("18.4")})
    return request


def _found(by: User, pulses: dict[Slot, str]) -> None:
    """Somebody reads slots back: everything as it should be, but for the pulses."""
    for slot, counted in pulses.items():
        placement = Placement.objects.in_force().select_related("settings").get(slot=slot)
        shown = {code: value["value"] for code, value in placement.settings.values.items()}
        shown["water_volume"] = counted
        read_back(slot=slot, found=shown, by=by, seen_placement=placement.pk)


def _checked(owner: User) -> HistoryCheck:
    """The history sealed so far, checked."""
    seal()
    check = start_check(by=owner)
    run_check(check.pk)
    return check


def _reconciled(owner: User, machine: Machine) -> Reconciliation:
    """The tables compared with the history, after somebody renamed a machine past the triggers."""
    unguarded("UPDATE stations_machine SET name = name || ' II' WHERE id = %s", machine.pk)
    run = ask_to_compare(by=owner)
    run_reconciliation(run.pk)
    run.refresh_from_db()
    return run
