"""Everything a person can do, and the one table of which roles may do it."""

from collections.abc import Collection, Iterable
from enum import StrEnum
from typing import Protocol

from django.db.models import TextChoices

# The five roles a person may be given; a role covers all sites or named ones.


class Role(TextChoices):
    """What somebody is at the bars, not who they are."""

    HEAD_ROASTER = "head_roaster", "Head roaster"
    SHOP_LEAD = "shop_lead", "Shop lead"
    BARISTA = "barista", "Barista"
    TECHNICIAN = "technician", "Technician"
    OWNER = "owner", "Owner"


class Verb(StrEnum):
    """One thing that can be allowed; every action and every page names exactly one."""

    RECIPE_VIEW = "recipe.view"
    RECIPE_DRAFT = "recipe.draft"
    RECIPE_SUBMIT = "recipe.submit"
    RECIPE_RETURN = "recipe.return"
    RECIPE_APPROVE = "recipe.approve"
    RECIPE_WITHDRAW = "recipe.withdraw"
    COFFEE_EDIT = "coffee.edit"
    PUBLICATION_PLAN = "publication.plan"
    PUBLICATION_SIGN = "publication.sign"
    PUBLICATION_STOP = "publication.stop"
    PERMIT_GRANT = "permit.grant"
    PERMIT_END = "permit.end"
    REQUEST_MAKE = "request.make"
    REQUEST_DECIDE = "request.decide"
    TASTING_RUN = "tasting.run"
    MODEL_FIT = "model.fit"
    SLOT_VIEW = "slot.view"
    SLOT_READ_BACK = "slot.read_back"
    SLOT_SET_BY_HAND = "slot.set_by_hand"
    EQUIPMENT_VIEW = "equipment.view"
    SITE_EDIT = "site.edit"
    EQUIPMENT_EDIT = "equipment.edit"
    EQUIPMENT_IMPORT = "equipment.import"
    CALIBRATION_RECORD = "calibration.record"
    SHOT_LOG = "shot.log"
    GRINDER_SET = "grinder.set"
    LOT_OPEN = "lot.open"
    OPENING_SET = "opening.set"
    HANDOVER_WRITE = "handover.write"
    HISTORY_VIEW = "history.view"
    RECIPE_HISTORY = "recipe.history"
    POLICY_SET = "policy.set"
    PEOPLE_MANAGE = "people.manage"
    TOKEN_MAKE = "token.make"  # noqa: S105 - a verb, not a secret
    TABLET_ENROL = "tablet.enrol"
    FINDING_ANSWER = "finding.answer"
    GATEWAY_ENROL = "gateway.enrol"
    GATEWAY_FETCH = "gateway.fetch"
    GATEWAY_REPORT = "gateway.report"

    @property
    def words(self) -> str:
        """What it is, as a refusal says it."""
        return WORDS[self]


ANYONE = frozenset(Role)
ROASTER = frozenset({Role.HEAD_ROASTER})
OWNER = frozenset({Role.OWNER})
DESK = ROASTER | OWNER
LEADS = frozenset({Role.HEAD_ROASTER, Role.SHOP_LEAD})
# Who works at the machines: what their bar needs today is the first thing they see.
AT_THE_BAR = frozenset({Role.SHOP_LEAD, Role.BARISTA, Role.TECHNICIAN})
# Where no gateway is enrolled, a program may act under the token of the person who answers for
# that site's machines.
GATEWAY_KEEPERS = frozenset({Role.HEAD_ROASTER, Role.SHOP_LEAD, Role.TECHNICIAN, Role.OWNER})

MAY: dict[Verb, frozenset[Role]] = {
    Verb.RECIPE_VIEW: ANYONE,
    Verb.RECIPE_DRAFT: ROASTER,
    Verb.RECIPE_SUBMIT: ROASTER,
    Verb.RECIPE_RETURN: ROASTER,
    Verb.RECIPE_APPROVE: ROASTER,
    Verb.RECIPE_WITHDRAW: ROASTER,
    Verb.COFFEE_EDIT: ROASTER,
    Verb.PUBLICATION_PLAN: ROASTER,
    Verb.PUBLICATION_SIGN: ROASTER,
    Verb.PUBLICATION_STOP: ROASTER,
    Verb.PERMIT_GRANT: ROASTER,
    Verb.PERMIT_END: ROASTER,
    Verb.REQUEST_MAKE: LEADS,
    Verb.REQUEST_DECIDE: ROASTER,
    Verb.TASTING_RUN: LEADS,
    Verb.MODEL_FIT: LEADS,
    Verb.SLOT_VIEW: ANYONE,
    Verb.SLOT_READ_BACK: LEADS,
    Verb.SLOT_SET_BY_HAND: LEADS,
    Verb.EQUIPMENT_VIEW: ANYONE,
    Verb.SITE_EDIT: DESK,
    Verb.EQUIPMENT_EDIT: DESK | {Role.TECHNICIAN},
    Verb.EQUIPMENT_IMPORT: DESK | {Role.TECHNICIAN},
    Verb.CALIBRATION_RECORD: frozenset({Role.TECHNICIAN, Role.HEAD_ROASTER}),
    Verb.SHOT_LOG: LEADS | {Role.BARISTA},
    Verb.LOT_OPEN: LEADS | {Role.BARISTA},
    Verb.GRINDER_SET: LEADS | {Role.BARISTA, Role.TECHNICIAN},
    Verb.OPENING_SET: LEADS | OWNER,
    Verb.HANDOVER_WRITE: ANYONE,
    Verb.HISTORY_VIEW: OWNER,
    Verb.RECIPE_HISTORY: DESK,
    Verb.POLICY_SET: OWNER,
    Verb.PEOPLE_MANAGE: OWNER,
    # A token never does more than its owner may.
    Verb.TOKEN_MAKE: ANYONE,
    Verb.TABLET_ENROL: frozenset({Role.SHOP_LEAD, Role.OWNER}),
    Verb.FINDING_ANSWER: LEADS | {Role.TECHNICIAN},
    Verb.GATEWAY_ENROL: frozenset({Role.SHOP_LEAD, Role.OWNER}),
    Verb.GATEWAY_FETCH: GATEWAY_KEEPERS,
    Verb.GATEWAY_REPORT: GATEWAY_KEEPERS,
}

# The bar's day: what somebody may do whom only a PIN at a tablet vouches for.
BY_PIN = frozenset(
    {
        Verb.RECIPE_VIEW,
        Verb.SLOT_VIEW,
        Verb.SLOT_READ_BACK,
        Verb.EQUIPMENT_VIEW,
        Verb.SHOT_LOG,
        Verb.GRINDER_SET,
        Verb.LOT_OPEN,
        Verb.HANDOVER_WRITE,
        Verb.REQUEST_MAKE,
    }
)

WORDS: dict[Verb, str] = {
    Verb.RECIPE_VIEW: "see recipes",
    Verb.RECIPE_DRAFT: "draft a recipe",
    Verb.RECIPE_SUBMIT: "submit a draft",
    Verb.RECIPE_RETURN: "return a draft",
    Verb.RECIPE_APPROVE: "approve a version",
    Verb.RECIPE_WITHDRAW: "withdraw a version",
    Verb.COFFEE_EDIT: "enter coffees and roast lots",
    Verb.PUBLICATION_PLAN: "plan a publication",
    Verb.PUBLICATION_SIGN: "publish a version",
    Verb.PUBLICATION_STOP: "stop or resume a publication",
    Verb.PERMIT_GRANT: "grant a permit",
    Verb.PERMIT_END: "end a permit",
    Verb.REQUEST_MAKE: "ask for a change",
    Verb.REQUEST_DECIDE: "decide on a change request",
    Verb.TASTING_RUN: "run a blind tasting",
    Verb.MODEL_FIT: "fit the shot model",
    Verb.SLOT_VIEW: "see what slots hold",
    Verb.SLOT_READ_BACK: "record a read-back",
    Verb.SLOT_SET_BY_HAND: "set a slot by hand",
    Verb.EQUIPMENT_VIEW: "see equipment",
    Verb.SITE_EDIT: "change sites and machine types",
    Verb.EQUIPMENT_EDIT: "change equipment",
    Verb.EQUIPMENT_IMPORT: "import equipment",
    Verb.CALIBRATION_RECORD: "record a calibration",
    Verb.SHOT_LOG: "log a shot",
    Verb.LOT_OPEN: "open a roast lot",
    Verb.OPENING_SET: "set a site's opening check",
    Verb.HANDOVER_WRITE: "leave and read hand-over notes",
    Verb.GRINDER_SET: "note a grinder's setting",
    Verb.HISTORY_VIEW: "read the history",
    Verb.RECIPE_HISTORY: "read the history of recipes and slots",
    Verb.POLICY_SET: "set policy",
    Verb.PEOPLE_MANAGE: "manage people",
    Verb.TOKEN_MAKE: "make a token",
    Verb.TABLET_ENROL: "enrol a tablet",
    Verb.FINDING_ANSWER: "answer what was found at a station",
    Verb.GATEWAY_ENROL: "enrol a gateway",
    Verb.GATEWAY_FETCH: "fetch settings as a gateway",
    Verb.GATEWAY_REPORT: "report as a gateway",
}


def roles_for(verb: Verb) -> str:
    """The roles that may, as words for a refusal: 'a head roaster or an owner'."""
    labels = [role.label.lower() for role in Role if role in MAY[verb]]
    worded = [f"{'an' if label[0] in 'aeiou' else 'a'} {label}" for label in labels]
    return " or ".join(filter(None, [", ".join(worded[:-1]), worded[-1]]))


# Questions about roles held, wherever they are kept.


class Held(Protocol):
    """One role held at one site, or at every site where that is None; `by_pin`: only for the bar's
    day, since no more than a PIN vouches for whoever holds it."""

    @property
    def role(self) -> str: ...  # noqa: D102 - as said
    @property
    def site_id(self) -> int | None: ...  # noqa: D102 - as said
    @property
    def by_pin(self) -> bool: ...  # noqa: D102 - as said


def allows(each: Held, verb: Verb) -> bool:
    """Whether this role allows the verb, where it counts at all."""
    return each.role in MAY[verb] and (verb in BY_PIN or not each.by_pin)


def first_role(held: Iterable[Held], verb: Verb, site_id: int | None) -> Role | None:
    """The first role of the table that allows it at that site, or anywhere (None)."""
    fits = {
        each.role
        for each in held
        if allows(each, verb) and (site_id is None or each.site_id in (None, site_id))
    }
    return next((role for role in Role if role in fits), None)


def sites_where(held: Iterable[Held], verb: Verb) -> frozenset[int] | None:
    """The sites where the verb is allowed; None means all of them."""
    return sites_as([each for each in held if verb in BY_PIN or not each.by_pin], MAY[verb])


def sites_as(held: Iterable[Held], roles: Collection[Role]) -> frozenset[int] | None:
    """The sites where one of these roles is held; None means all of them."""
    sites = {each.site_id for each in held if each.role in roles}
    return None if None in sites else frozenset(pk for pk in sites if pk is not None)


def roles_at(held: Iterable[Held], site_id: int | None) -> list[Role]:
    """Every role that counts at that site (None: anywhere), in the table's order."""
    named = {each.role for each in held if site_id is None or each.site_id in (None, site_id)}
    return [role for role in Role if role in named]
