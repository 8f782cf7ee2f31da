"""Menus: arranged, decided about, followed and published."""

from datetime import UTC, datetime

from recipes.menus.models import Menu, MenuVersion
from recipes.menus.plan import make_menu_plan
from recipes.menus.publishing import for_plan
from recipes.publishing.timing import When
from tests.bad_input.call import day, signed
from tests.bad_input.form import FOREIGN, REASON, STALE, Form, Sent, Values
from tests.bad_input.things import Things


def menu_version(t: Things, thing: str) -> MenuVersion:
    """A menu's version as it is now."""
    return MenuVersion.objects.get(pk=t.pk(thing))


def revision(t: Things, thing: str) -> str:
    """Its revision as a form sends it."""
    return str(menu_version(t, thing).revision)


def plan_query(t: Things) -> str:
    """The address of a menu's plan."""
    return f"?sites={t.cast.site.pk}&date={day(3)}&time=06:30"


def signed_plan(t: Things) -> Sent:
    """The signature under it."""
    moment, version = datetime.fromisoformat(f"{day(3)}T06:30"), for_plan(t.pk("menu_approved"))
    assert version
    plan = make_menu_plan(
        by=t.cast.head_roaster, menu_version=version, sites=[t.cast.site.pk],
        when=When(moment.date(), moment.time()), now=datetime.now(UTC),
    )  # fmt: skip
    return signed(t, "head_roaster", seen_digest=plan.digest, reason="New", acknowledged="on")


def another(t: Things) -> str:
    """A menu that the own site does not follow."""
    return str(Menu.objects.exclude(pk=t.pk("menu")).order_by("pk")[0].pk)


SIGNATURE: Values = {"password": ["", "wrong"], "email": ["", "barista@example.com"],
                     "seen_digest": ["", "0" * 64]}  # fmt: skip
MENUS = [
    Form("menu_add", "head_roaster", lambda t: {"name": "Winter", "like": str(t.cast.site.pk)},
         also={"name": ["", " ", "spring"], "like": FOREIGN[:-1]}),
    Form("menu_draft", "head_roaster", lambda t: {}, thing="menu_draft"),
    Form("menu_version_edit", "head_roaster", thing="menu_draft",
         sent=lambda t: {"slot_1": str(t.pk("approved")), "slot_2": str(t.newest.pk),
                         "note": "Lighter", "revision": revision(t, "menu_draft")},
         also={"slot_1": FOREIGN[:-1], "revision": STALE}),
    Form("menu_version_submit", "head_roaster", thing="menu_draft", also={"revision": STALE},
         sent=lambda t: {"revision": revision(t, "menu_draft")}),
    Form("menu_version_return", "head_roaster", thing="menu_reviewed",
         sent=lambda t: {"remark": "Too dark", "revision": revision(t, "menu_reviewed")},
         also={"remark": ["", " "], "revision": STALE}),
    Form("menu_version_approve", "second_roaster", thing="menu_reviewed", also=SIGNATURE,
         sent=lambda t: signed(t, "second_roaster",
                               seen_digest=menu_version(t, "menu_reviewed").content_digest)),
    Form("menu_version_withdraw", "head_roaster", thing="menu_approved",
         sent=lambda t: {"reason": "Over", "revision": revision(t, "menu_approved")},
         also={**REASON, "revision": STALE}),
    Form("menu_plan", "head_roaster", signed_plan, thing="menu_approved", query=plan_query,
         also={**SIGNATURE, **REASON}),
    Form("site_menu", "head_roaster", thing="site",
         sent=lambda t: {"menu": another(t), "instead_of": str(t.pk("menu"))},
         also={"menu": FOREIGN[:-1], "instead_of": STALE}),
]  # fmt: skip
