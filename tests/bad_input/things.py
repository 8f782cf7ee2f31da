"""What a body or a form can refer to, beside what the permission matrix's world has."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED
from people.persons.models import User
from people.tokens.actions import make_token
from people.tokens.models import Scope
from recipes.coffees.actions import add_lot
from recipes.coffees.models import RoastLot
from recipes.permits.asking import ask_for_permit
from recipes.requests.actions import make_request
from recipes.requests.models import ChangeRequest
from recipes.tastings.actions import lock_answers, open_key, plan_tasting, record_answers
from recipes.tastings.models import Tasting
from recipes.tastings.result import session
from recipes.versions.models import Version
from stations.charts.charting import RULES, charts_of
from stations.charts.keeping import digest_of, figures_of
from stations.charts.lineage import contents_of
from stations.equipment.actions import add_slots
from stations.equipment.models import Slot, Station
from stations.grinders.models import GrinderEvent
from stations.handover.actions import leave_note
from stations.handover.models import HandoverNote
from stations.metrology.formula import Stated
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.slots.models import Placement
from tests.bar import DOUBLE, approved, draft
from tests.cast import Cast
from tests.permissions.world import World
from tests.recipes.shelf import make_recipe


@dataclass(frozen=True)
class Things:
    """All at the own site, where they belong to one."""

    world: World
    lot: RoastLot
    free: Slot  # nothing is in force there
    held: Slot  # something is, and no permit bends it
    newest: Version  # approved, after the version that `overtaken` is against
    overtaken: ChangeRequest
    opened: Tasting
    gateway: str  # the secret of a gateway's token

    @property
    def cast(self) -> Cast:
        """The people."""
        return self.world.bar.cast

    def pk(self, thing: str, where: str = "own") -> int:
        """The id of one of the world's things."""
        found: int = self.world.address(thing, where)["pk"]
        return found

    def version(self, thing: str) -> Version:
        """A version as it is now."""
        return Version.objects.get(pk=self.pk(thing))

    def placement(self) -> Placement:
        """What is in force at the slot that is held."""
        return Placement.objects.in_force().get(slot=self.held)

    def grinder_event(self) -> int:
        """The newest line of the own grinder's log."""
        return GrinderEvent.objects.filter(grinder=self.pk("grinder")).latest("id").pk

    def note(self) -> int:
        """A hand-over note at the own site."""
        site = self.cast.site
        there = HandoverNote.objects.filter(site=site).first()
        return (there or leave_note(by=self.cast.shop_lead, site=site, text="Milk is low")).pk

    def content(self) -> str:
        """The digest of what was brewed at the own station."""
        station = Station.objects.get(pk=self.pk("station"))
        return next(iter(contents_of(station)))

    def chart(self) -> str:
        """The digest of the own station's chart as it stands."""
        station = Station.objects.get(pk=self.pk("station"))
        found = charts_of(station, self.content(), "beverage_mass", RULES["nelson"])
        assert found is not None
        return digest_of(figures_of(found, "nelson"))

    def permit_request(self) -> int:
        """The shop lead's request for a permit for the slot that is held."""
        mine = ChangeRequest.objects.filter(kind="permit", author=self.cast.shop_lead).first()
        asked = mine or ask_for_permit(
            by=self.cast.shop_lead, base=self.version("approved"), site=self.cast.site,
            slots=[self.held.pk], changes={"brew_temperature": Decimal("92.0")},
            ends_at=timezone.now() + timedelta(days=2), reason="Gasket worn",
        )  # fmt: skip
        return asked.pk

    def tasting(self) -> Tasting:
        """One that is planned."""
        return Tasting.objects.get(pk=self.pk("tasting"))

    def who(self, name: str) -> User:
        """A person by the name of their place in the cast."""
        found: User = getattr(self.cast, name)
        return found


def make_things(world: World) -> Things:
    """Write them."""
    cast, bar = world.bar.cast, world.bar
    station = bar.stations[0]
    lot = add_lot(
        by=cast.head_roaster,
        coffee=bar.version.recipe.coffee,
        code="A1",
        roasted_on=timezone.now().date() - timedelta(days=9),
    )
    (free,) = add_slots(station=station, total=3, by=cast.owner)
    newest, overtaken = _overtaken(cast)
    _another_shot(world)
    return Things(
        world=world,
        lot=lot,
        free=free,
        held=bar.stations[1].slots.get(number=1),
        newest=newest,
        overtaken=overtaken,
        opened=_opened(cast),
        gateway=make_token(by=cast.shop_lead, name="gateway", scopes=[Scope.GATEWAY], days=1)[1],
    )


def _overtaken(cast: Cast) -> tuple[Version, ChangeRequest]:
    """A request whose parameter a newer version changed as well."""
    recipe = make_recipe(cast, "lungo")
    with recorded(by=None, action=PERSON_ADDED):
        base = approved(cast, draft(cast, recipe=recipe))
    wanted = {"brew_temperature": Stated(Decimal("92.0"), Decimal("0.5"), Decimal("0.5"))}
    request = make_request(
        by=cast.shop_lead, base=base, site=cast.site, proposals=wanted, reason="Sharp"
    )
    hotter = {**DOUBLE, "brew_temperature": ("94.0", "0.5", "0.5")}
    with recorded(by=None, action=PERSON_ADDED):
        newest = approved(cast, draft(cast, hotter, recipe=recipe))
    return newest, request


def _another_shot(world: World) -> None:
    """Two shots that differ: only such can be charted."""
    slot = Slot.objects.get(**world.address("slot", "own"))
    pulled = Weighed(Decimal("18.0"), Decimal("36.9"), Decimal(29))
    log_shot(slot=slot, shot=pulled, by=world.bar.cast.head_roaster)


def _opened(cast: Cast) -> Tasting:
    """A tasting that may become evidence."""
    who = cast.shop_lead
    tasting = plan_tasting(
        site=cast.site, method="triangle", first_sample="A", second_sample="B",
        risk=Decimal("0.05"), assessments=2, by=who,
    )  # fmt: skip
    chosen = {serving.number: serving.codes[0] for serving in session(tasting)}
    tasting = record_answers(by=who, tasting=tasting, revision=tasting.revision, answers=chosen)
    tasting = lock_answers(by=who, tasting=tasting, revision=tasting.revision)
    return open_key(by=who, tasting=tasting, revision=tasting.revision)
