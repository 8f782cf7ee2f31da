"""One of everything: at the person's own site and at another, and a person for every role."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from http.cookies import SimpleCookie
from typing import Any

from allauth.account.internal.flows.login import AUTHENTICATION_METHODS_SESSION_KEY as NOTED
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.db.models import QuerySet
from django.test import Client, TestCase

from audit.capture.context import recorded
from audit.capture.models import Entry
from audit.checking.actions import start_check
from audit.checking.run import run_check
from audit.reconciling.actions import ask
from audit.reconciling.run import run_reconciliation
from people.persons.actions import PERSON_ADDED
from people.persons.models import Assignment, User
from people.persons.verbs import Role
from people.pins.actions import set_pin
from people.tablets.actions import add_tablet
from recipes.modelling.actions import FIT_ASKED
from recipes.modelling.models import ShotFit
from recipes.permits.actions import grant
from recipes.permits.plan import make_permit_plan
from recipes.publishing import run
from recipes.publishing.actions import publish
from recipes.publishing.models import PublicationSite
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.requests.actions import make_request
from recipes.tastings.actions import plan_tasting
from recipes.versions.review import submit
from stations.charts.charting import RULES, charts_of
from stations.charts.keeping import digest_of, figures_of, keep_chart
from stations.charts.lineage import contents_of
from stations.equipment.models import Site, Slot, Station
from stations.gateways.actions import add_gateway
from stations.metrology.formula import Stated as Value
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from tests.bar import Bar, draft, make_bar, vary
from tests.cast import credentials, make_cast, make_sites
from tests.findings import finding_at
from tests.grinders import grinder_of, opened_at
from tests.recipes.calibrating import measure
from tests.recipes.menus.spring import approved as approved_menu
from tests.recipes.menus.spring import drafted as drafted_menu
from tests.recipes.menus.spring import follows
from tests.recipes.menus.spring import in_review as menu_in_review
from tests.recipes.publishing.lots import lot_of

LETTERS = {
    "H": Role.HEAD_ROASTER,
    "L": Role.SHOP_LEAD,
    "B": Role.BARISTA,
    "T": Role.TECHNICIAN,
    "O": Role.OWNER,
}
COOKIE = settings.SESSION_COOKIE_NAME
Address = dict[str, Any]


@dataclass(frozen=True)
class World:
    """Addresses of things by key; those of one site under "own" and "other"."""

    shared: dict[str, Address]
    own: dict[str, Address]
    other: dict[str, Address]
    people: dict[str, User]  # by role letter, each at the own site only; "" has no role
    everywhere: dict[str, User]  # by role letter, each at all sites
    bar: Bar
    sessions: dict[int, str] = field(default_factory=dict)
    browser: Client = field(default_factory=lambda: Client(raise_request_exception=False))

    def sign_in(self, *people: User) -> None:
        """Give these people a session each."""
        for person in people:
            self.browser.cookies = SimpleCookie()
            self.browser.force_login(person)
            _for_good(self.browser)
            self.sessions[person.pk] = self.browser.cookies[COOKIE].value

    def browser_of(self, person: User | None) -> Client:
        """The one browser, with this person signed in, or nobody."""
        cookies = {COOKIE: self.sessions[person.pk]} if person else {}
        self.browser.cookies = SimpleCookie(cookies)
        return self.browser

    def address(self, thing: str, where: str) -> Address:
        """What ``reverse`` needs, or a query ("?site": 3)."""
        return {} if not thing else {**self.shared, **getattr(self, where)}[thing]


def _for_good(browser: Client) -> None:
    """Its sign-in counts as a confirmation however long the tests run."""
    session = browser.session
    session[NOTED] = [{**each, "at": time.time() + 86_400} for each in session[NOTED]]
    session.save()


@contextmanager
def lasting_world() -> Iterator[World]:
    """A world in a transaction of its own, as Django's TestCase holds its class's data."""
    atomics = TestCase._enter_atomics()  # type: ignore[attr-defined]
    try:
        world = make_world(make_bar(make_cast(make_sites())))
        people = world.people, world.everywhere, world.bar.cast.everyone()
        world.sign_in(*(person for group in people for person in group.values()))
        yield world
    finally:
        TestCase._rollback_atomics(atomics)  # type: ignore[attr-defined]


def make_world(bar: Bar) -> World:
    """Publish, permit, ask: one of everything at both bars."""
    who = bar.cast.head_roaster
    wide = _publication(bar, Scope(Where.ALL, slot_numbers=(2,)))
    with recorded(by=None, action=PERSON_ADDED):
        drafted, reviewed = (
            draft(bar.cast, recipe=bar.version.recipe),
            draft(bar.cast, recipe=bar.version.recipe),
        )
        varied = vary(draft(bar.cast, recipe=bar.version.recipe), bar.plain)
        submit(by=who, version=reviewed, revision=reviewed.revision)
    set_pin(by=bar.cast.barista, digits="7304")
    menu = approved_menu(bar, {1: bar.version})
    follows(menu.menu, bar.cast)
    pk = {
        "coffee": bar.version.recipe.coffee_id, "recipe": bar.version.recipe_id,
        "draft": drafted.pk, "reviewed": reviewed.pk, "approved": bar.version.pk,
        "wide_publication": wide, "wide_permit": _permit(bar, Slot.objects.filter(number=2)),
        "menu": menu.menu_id, "menu_approved": menu.pk,
        "menu_draft": drafted_menu(bar, {1: bar.version}, "Summer").pk,
        "menu_reviewed": menu_in_review(bar, {1: bar.version}, "Autumn").pk,
        "person": bar.cast.barista.pk, "machine_type": bar.full.pk,
        "check": _check(bar.cast.owner),
        "reconciliation": _reconciliation(bar.cast.owner), "lot": lot_of(bar.version, who).pk,
    }  # fmt: skip
    shared: dict[str, Address] = {key: {"pk": value} for key, value in pk.items()}
    shared["variant"] = {"pk": varied.pk, "machine_type": bar.plain.pk}
    shared["?version"] = {"?version": bar.version.pk}
    return World(
        shared,
        _at(bar, bar.cast.site, bar.cast.shop_lead),
        _at(bar, bar.cast.other_site, bar.cast.other_lead),
        _people(bar.cast.site),
        _people(None),
        bar,
    )


def _at(bar: Bar, site: Site, lead: User) -> dict[str, Address]:
    """The things of one site."""
    publication = _publication(bar, Scope(Where.SITES, (site.pk,), slot_numbers=(1,)))
    station = next(each for each in bar.stations if each.machine.site_id == site.pk)
    slot = station.slots.order_by("number")[0]
    request = make_request(
        by=lead,
        base=bar.version,
        site=site,
        proposals={"brew_temperature": Value(Decimal("92.0"))},
        reason="Sharp",
    )
    entry = Entry.objects.filter(site_id=site.pk).latest("id")
    pk = {
        "site": site.pk, "machine": station.machine_id, "station": station.pk, "slot": slot.pk,
        "request": request.pk, "entry": entry.pk, "publication": publication,
        "part": PublicationSite.objects.get(publication=publication).pk,
        "permit": _permit(bar, Slot.objects.filter(pk=slot.pk)),
        "tasting": _tasting(site, lead), "fit": _fit(bar, station, lead),
        "shot": _shot(bar, slot), "kept_chart": _kept_chart(bar, station, lead),
        **_grinder(bar, station), "finding": finding_at(station, lead).pk,
        "calibration": measure(station, "4.2", bar.cast.technician).pk,
        "gateway": add_gateway(by=lead, site=site, name="Box")[0].pk,
        "tablet": add_tablet(by=lead, site_id=site.pk, name="Counter")[0].pk,
    }  # fmt: skip
    things: dict[str, Address] = {key: {"pk": value} for key, value in pk.items()}
    return things | {
        "?site": {"?site": site.pk},
        "?machine": {"?machine": station.machine_id},
        "?slot": {"?slot": slot.pk},
        "?shot": {"?shot": pk["shot"]},
        "code": {"code": station.code},
        "site_code": {"code": site.code},
        "timeline": {"subject_type": "slot", "subject_id": slot.pk},
    }


def _check(owner: User) -> int:
    """One that has ended, so that another may be asked for."""
    check = start_check(by=owner)
    run_check(check.pk)
    return check.pk


def _reconciliation(owner: User) -> int:
    """The same."""
    run = ask(by=owner)
    run_reconciliation(run.pk)
    return run.pk


def _tasting(site: Site, lead: User) -> int:
    return plan_tasting(
        site=site, method="triangle", first_sample="A", second_sample="B", risk=Decimal("0.05"),
        assessments=6, by=lead,
    ).pk  # fmt: skip


def _fit(bar: Bar, station: Station, lead: User) -> int:
    """One that no worker has come to."""
    with recorded(by=lead, action=FIT_ASKED):
        return ShotFit.objects.create(station=station, version=bar.version, by=lead).pk


def _shot(bar: Bar, slot: Slot) -> int:
    pulled = Weighed(Decimal("18.1"), Decimal("36.4"), Decimal(28))
    return log_shot(slot=slot, shot=pulled, by=bar.cast.head_roaster).pk


def _kept_chart(bar: Bar, station: Station, lead: User) -> int:
    """One of two shots that differ."""
    slot = station.slots.order_by("number")[0]
    other = Weighed(Decimal("18.0"), Decimal("37.2"), Decimal(27))
    log_shot(slot=slot, shot=other, by=bar.cast.head_roaster)
    content = next(iter(contents_of(station)))
    found = charts_of(station, content, "beverage_mass", RULES["nelson"])
    assert found is not None
    return keep_chart(
        by=lead, station=station, content_digest=content, code="beverage_mass", rules="nelson",
        seen=digest_of(figures_of(found, "nelson")),
    ).pk  # fmt: skip


def _grinder(bar: Bar, station: Station) -> dict[str, int]:
    """A grinder, and a bag open at it."""
    grinder = grinder_of(station, bar.cast.owner)
    opening = opened_at(grinder, bar.version.recipe.coffee, bar.cast.head_roaster)
    return {"grinder": grinder.pk, "opening": opening.pk}


def _publication(bar: Bar, scope: Scope) -> int:
    who, version = bar.cast.head_roaster, bar.version
    plan = make_plan(version=version, scope=scope, when=When(), by=who, now=datetime.now(UTC))
    made = publish(
        by=who, version=version, scope=scope, when=When(), seen=plan.digest, reason="New crop",
        credentials=credentials(who), acknowledged=True,
    ).pk  # fmt: skip
    run.run(made)
    return made


def _permit(bar: Bar, named: QuerySet[Slot]) -> int:
    who, ends_at = bar.cast.head_roaster, datetime.now(UTC) + timedelta(days=2)
    changes: dict[str, Decimal | str] = {"brew_temperature": Decimal("92.0")}
    slots = tuple(named.values_list("pk", flat=True))
    plan = make_permit_plan(slots=slots, changes=changes, ends_at=ends_at, by=who)
    return grant(
        by=who, slots=slots, changes=changes, ends_at=ends_at, seen=plan.digest, reason="Gasket",
        credentials=credentials(who), acknowledged=True,
    ).pk  # fmt: skip


def _people(site: Site | None) -> dict[str, User]:
    """A person for each role, at this site only or at all, and one without any role."""
    password = make_password(None)
    with recorded(by=None, action=PERSON_ADDED):
        found = {
            letter: User.objects.create(
                email=f"{letter.lower() or 'none'}@{site.code if site else 'all'}.example.com",
                name=f"{letter or 'none'} of {site or 'all'}",
                password=password,
            )
            for letter in [*LETTERS, ""]
        }
        Assignment.objects.bulk_create(
            Assignment(user=found[letter], role=role, site=site) for letter, role in LETTERS.items()
        )
    return found
