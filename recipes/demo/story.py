"""What happened at the demo's bars, in order."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal

from recipes.coffees.actions import add_coffee, add_lot, add_recipe
from recipes.coffees.models import Coffee, Recipe, RoastLot
from recipes.demo import season, shown
from recipes.demo.evidence import read_waters, taste
from recipes.demo.formulas import (
    DECAF_DOUBLE,
    DECAF_LONG,
    FLAT,
    HILL_DOUBLE,
    HOUSE_DOUBLE,
    HOUSE_SINGLE,
    HOUSE_STAGED,
    REASONS,
    Formula,
    of,
)
from recipes.demo.measurements import Measurements
from recipes.demo.people import Cast
from recipes.publishing import run
from recipes.publishing.actions import cancel_site, publish, resume, stop
from recipes.publishing.models import Publication
from recipes.publishing.plan import make_plan
from recipes.publishing.scope import Scope, Where
from recipes.publishing.timing import When
from recipes.requests.actions import make_request
from recipes.variants.actions import set_variant
from recipes.versions.drafts import edit_draft, new_draft
from recipes.versions.models import Version
from recipes.versions.questions import questions_about
from recipes.versions.review import approve, return_to_author, submit
from stations.equipment.models import Site, Slot, Station
from stations.handover.actions import leave_note
from stations.machine_types.models import MachineType
from stations.opening.actions import set_opening
from stations.slots.by_hand import set_by_hand
from stations.slots.models import Placement
from stations.slots.read_backs import read_back

Steps = Sequence[tuple[Formula, str]]


@dataclass(frozen=True)
class Story:
    """Who and where; each method is a chapter."""

    cast: Cast
    sites: dict[str, Site]
    today: date

    def tell(self) -> None:
        """Everything, in order."""
        house, hill, decaf = self._coffees()
        by = self.cast["head_roaster"]
        measurements = Measurements(self.cast, self.sites, self.today)
        measurements.calibrate()
        read_waters(self.sites, self.today, self.cast["technician"])
        double = self._versions(add_recipe(by=by, coffee=house, drink="Double"), HOUSE_DOUBLE[:3])
        single = self._versions(add_recipe(by=by, coffee=house, drink="Single"), HOUSE_SINGLE)
        staged = self._versions(add_recipe(by=by, coffee=hill, drink="Double"), HILL_DOUBLE)
        plain = self._versions(add_recipe(by=by, coffee=decaf, drink="Double"), DECAF_DOUBLE[:1])
        (long,) = self._versions(add_recipe(by=by, coffee=decaf, drink="Long"), DECAF_LONG)
        self._publish(double[-1], 1, "Spring tasting settled it.")
        self._publish(single[-1], 2, "Singles on every machine.")
        self._publish(staged[-1], 3, "The hill lot is rested.")
        self._permit_to_be_over()
        menu = season.begin_menu(self.cast, self.sites)
        self._load_everything_but(site="citadel", slot=2)
        self._overwritten(self._slot("tramway", 1))
        self._permit()
        measurements.set_grinders(house)
        measurements.pull_shots(self._slot("harbour", 1))
        measurements.simulate_mornings(double[-1], 1)
        self._publish_by_shots(long)
        self._with_variant(add_recipe(by=by, coffee=house, drink="Double, in stages"))
        self._publish_with_lot(plain[-1])
        season.change_menu(self.cast, menu, plain[-1], self.today)
        measurements.leave_one_to_decide()
        self._by_hand(self._slot("harbour", 4))
        self._request(double[-1])
        self._in_review(double[-1])
        self._returned(plain[-1])
        self._ask_for_opening_checks("harbour")
        self._changed_its_mind(plain[-1])
        shown.take_in(self.cast)

    def _coffees(self) -> tuple[Coffee, Coffee, Coffee]:
        by = self.cast["head_roaster"]
        house = add_coffee(
            by=by, name="Morning blend", rest_from=7, rest_to=28, note="Three lots, medium."
        )
        hill = add_coffee(by=by, name="Hill lot, dried in the fruit", rest_from=10, rest_to=35)
        decaf = add_coffee(by=by, name="Washed decaf", rest_from=5, rest_to=21)
        for coffee, ages in ((house, (40, 12)), (hill, (14,)), (decaf, (3,))):
            for age in ages:
                roasted = self.today - timedelta(days=age)
                add_lot(by=by, coffee=coffee, code=f"R{roasted:%y%m%d}", roasted_on=roasted)
        return house, hill, decaf

    def _draft(
        self, recipe: Recipe, based_on: Version | None, formula: Formula, note: str
    ) -> Version:
        by = self.cast["head_roaster"]
        lot = RoastLot.objects.filter(coffee=recipe.coffee).first()
        draft = new_draft(by=by, recipe=recipe, based_on=based_on, lot=lot)
        return edit_draft(
            by=by, version=draft, revision=draft.revision, values=formula, note=note, lot=lot
        )

    def _submit(self, draft: Version) -> Version:
        by = self.cast["head_roaster"]
        asked = {each.key for each in questions_about(draft, by)}
        answers = {kind: REASONS[kind] for kind in asked}
        return submit(by=by, version=draft, revision=draft.revision, answers=answers)

    def _versions(self, recipe: Recipe, steps: Steps) -> list[Version]:
        """Draft, submit and approve one version after the other."""
        versions: list[Version] = []
        for formula, note in steps:
            draft = self._draft(recipe, versions[-1] if versions else None, formula, note)
            versions.append(self._approved(draft))
        return versions

    def _approved(self, draft: Version) -> Version:
        shown = self._submit(draft)
        return approve(
            by=self.cast["second_roaster"],
            version=shown,
            credentials=self.cast.signs("second_roaster"),
            seen=shown.content_digest,
        )

    def _with_variant(self, recipe: Recipe) -> None:
        """In stages at Tramway's window; its long bar, which knows none, gets the variant."""
        ((formula, note),) = HOUSE_STAGED
        draft = self._draft(recipe, None, formula, note)
        draft = set_variant(
            by=self.cast["head_roaster"], version=draft, revision=draft.revision, values=FLAT,
            machine_type=MachineType.objects.get(name="Water counted"),
        )  # fmt: skip
        here = Station.objects.filter(machine__site=self.sites["tramway"], number=2)
        scope = Scope(Where.STATIONS, tuple(here.values_list("pk", flat=True)), slot_numbers=(4,))
        version = self._approved(draft)
        self._sign(version, scope, "The same blend on both machines, as each can do it.")
        self._load(version)

    def _publish(self, version: Version, slot_number: int, reason: str) -> None:
        self._sign(version, Scope(Where.ALL, slot_numbers=(slot_number,)), reason)

    def _publish_by_shots(self, version: Version) -> None:
        """To a station that is known by its shots and one that isn't; keyed in at once."""
        front = Station.objects.filter(machine__name="Front counter", number=2)
        known, new = front.get(machine__site=self.sites["harbour"]), self._slot("tramway", 4)
        scope = Scope(Where.STATIONS, (known.pk, new.station_id), slot_numbers=(4,))
        self._sign(version, scope, "Decaf by the cup, where it is asked for most.")
        self._load(version)

    def _load(self, version: Version) -> None:
        """Key in and read back every slot that should hold it."""
        for placement in Placement.objects.to_load().with_place():
            if placement.settings.content_digest == version.content_digest:
                self._read(placement, placement.site.code)

    def _publish_with_lot(self, version: Version) -> None:
        """The new decaf still rests: Citadel begins when it opens the bag."""
        scope = Scope(Where.SITES, (self.sites["citadel"].pk,), slot_numbers=(4,))
        lot = RoastLot.objects.filter(coffee=version.recipe.coffee).first()
        self._sign(version, scope, "Doubles too, once the new roast is rested.", When(lot=lot))

    def _changed_its_mind(self, version: Version) -> None:
        """Next week at two bars: stopped for a day, resumed, and given up at one of them."""
        by, sites = self.cast["head_roaster"], (self.sites["summit"], self.sites["tramway"])
        scope = Scope(Where.SITES, tuple(site.pk for site in sites), slot_numbers=(3,))
        when = When(self.today + timedelta(days=7), time(6))
        self._sign(version, scope, "Decaf in the third slot as well.", when)
        made = Publication.objects.filter(version=version).latest("pk")
        for act, why in ((stop, "The bags are late."), (resume, "They came after all.")):
            act(by=by, publication=made, revision=made.revision, reason=why)
        part = made.sites.select_related("publication").get(site=sites[0])
        why = "Too soft a water there: it stays with the hill lot."
        cancel_site(by=by, part=part, revision=made.revision, reason=why)

    def _sign(self, version: Version, scope: Scope, reason: str, when: When | None = None) -> None:
        by, when = self.cast["head_roaster"], when or When()
        plan = make_plan(version=version, scope=scope, when=when, by=by, now=datetime.now(UTC))
        publication = publish(
            by=by, version=version, scope=scope, when=when, seen=plan.digest, reason=reason,
            credentials=self.cast.signs("head_roaster"), acknowledged=True,
            learnt_until=plan.learnt_until,
        )  # fmt: skip
        run.run(publication.pk)

    def _lead(self, site: str) -> str:
        return "lead_uphill" if site in ("brickworks", "summit") else f"lead_{site}"

    def _slot(self, site: str, number: int) -> Slot:
        """The first station's slot of that number."""
        here = Slot.objects.filter(station__machine__site=self.sites[site], number=number)
        first: Slot = here.with_equipment()[0]
        return first

    def _read(self, placement: Placement, site: str, **differing: str) -> None:
        values = {code: each["value"] for code, each in placement.settings.values.items()}
        read_back(
            by=self.cast[self._lead(site)],
            slot=placement.slot,
            seen_placement=placement.pk,
            found={**values, **differing},
        )

    def _load_everything_but(self, site: str, slot: int) -> None:
        """Key in and read back every slot, except one number at one site: still to do."""
        for placement in Placement.objects.to_load().with_place():
            if (placement.site.code, placement.slot.number) != (site, slot):
                self._read(placement, placement.site.code)

    def _overwritten(self, slot: Slot) -> None:
        """Somebody at the bar saved a shorter shot over it."""
        placement = Placement.objects.in_force().with_place().get(slot=slot)
        self._read(placement, "tramway", water_volume="262")

    def _permit(self) -> None:
        """A worn gasket, for two days."""
        reason = "Group runs hot until the technician has changed the gasket."
        cooler = {"brew_temperature": Decimal("91.5")}
        shown.permit(self.cast, self._slot("citadel", 1), 2, cooler, reason)

    def _permit_to_be_over(self) -> None:
        """New burrs at Tramway; the menu that comes next takes the slot over."""
        reason = "Singles a little longer while the new burrs run in."
        longer = {"water_volume": Decimal("38")}
        shown.permit(self.cast, self._slot("tramway", 2), 3, longer, reason)

    def _by_hand(self, slot: Slot) -> None:
        """A free slot, used while dialling in."""
        values = {"water_volume": "281", "brew_temperature": "92.5", "ends_by": "volume"}
        set_by_hand(slot=slot, values=values, by=self.cast["lead_harbour"])

    def _ask_for_opening_checks(self, site: str) -> None:
        by = self.cast[self._lead(site)]
        set_opening(
            by=by, site=self.sites[site], revision=0, shots=2, counts_from=time(4),
            opens_at=time(7),
        )  # fmt: skip
        leave_note(by=by, site=self.sites[site], text="Station 3 runs fast since noon: weigh it.")

    def _front(self, number: int) -> Station:
        """A station of Harbour's front counter."""
        here = Station.objects.filter(machine__site=self.sites["harbour"]).with_equipment()
        found: Station = here.get(machine__name="Front counter", number=number)
        return found

    def _request(self, base: Version) -> None:
        request = make_request(
            by=self.cast["lead_harbour"],
            base=base,
            site=self.sites["harbour"],
            proposals={"brew_temperature": of("93.0", "0.5")},
            reason="Sour in the morning, when the front counter has stood idle.",
            evidence="Six shots on two mornings, all 18.0 g in and 38 g out in 27 to 29 s; three"
            " baristas found the first two of each morning sour. The grinder runs evenly: the chart"
            " of the second station.",
            attached=shown.measured(self.cast, self._front(2), base),
        )
        taste(request, self.cast["lead_harbour"])

    def _in_review(self, base: Version) -> None:
        """A newer version that waits for the second roaster's signature."""
        formula, note = HOUSE_DOUBLE[3]
        self._submit(self._draft(base.recipe, base, formula, note))

    def _returned(self, base: Version) -> None:
        """A draft that came back with a comment."""
        formula, note = DECAF_DOUBLE[1]
        shown = self._submit(self._draft(base.recipe, base, formula, note))
        return_to_author(
            by=self.cast["second_roaster"],
            version=shown,
            revision=shown.revision,
            comments={"water_volume": "Try 68 mL first; the last lot was slower."},
        )
