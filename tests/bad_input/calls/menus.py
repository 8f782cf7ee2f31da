"""Menus: arranged, decided about, followed and published."""

from datetime import UTC, datetime
from typing import Any

from recipes.menus.models import Menu, MenuVersion
from recipes.menus.plan import make_menu_plan
from recipes.menus.publishing import for_plan
from recipes.publishing.timing import When
from tests.bad_input.call import (
    FOREIGN,
    NOWHERE,
    REASON,
    SIGNATURE,
    Call,
    Values,
    day,
    signed,
)
from tests.bad_input.things import Things


def plan_for(t: Things) -> dict[str, Any]:
    """Where and when a menu goes."""
    return {"sites": [t.cast.site.pk], "date": day(3), "time": "06:30"}


def signed_menu(t: Things) -> dict[str, Any]:
    """The same with the digest of its plan, and the signature."""
    moment, version = datetime.fromisoformat(f"{day(3)}T06:30"), for_plan(t.pk("menu_approved"))
    assert version
    plan = make_menu_plan(
        by=t.cast.head_roaster, menu_version=version, sites=[t.cast.site.pk],
        when=When(moment.date(), moment.time()), now=datetime.now(UTC),
    )  # fmt: skip
    return signed(t, "head_roaster", **plan_for(t), reason="New crop", seen_digest=plan.digest,
                  acknowledged=True)  # fmt: skip


def another(t: Things) -> int:
    """A menu that the own site does not follow."""
    return Menu.objects.exclude(pk=t.pk("menu")).order_by("pk")[0].pk


SITES: Values = {"sites": [[], [0], [NOWHERE], "all"], "date": ["2020-01-01"], "time": ["25:00"]}
MENUS = [
    Call("POST", "menus", "head_roaster", good=201,
         body=lambda t: {"name": "Winter", "like": t.cast.site.pk},
         also={"name": ["", " ", "spring"], "like": FOREIGN}),
    Call("PUT", "menu_version", "head_roaster", thing="menu_draft",
         body=lambda t: {"drinks": [{"slot_number": 1, "version": t.pk("approved")},
                                    {"slot_number": 2, "version": t.newest.pk}], "note": "x"},
         also={"drinks": [[{"slot_number": 1, "version": NOWHERE}],
                          [{"slot_number": 0, "version": 1}],
                          [{"slot_number": 100, "version": 1}]]},
         named=("slot_1",)),
    Call("POST", "menu_draft", "head_roaster", lambda t: {}, thing="menu_draft", good=201),
    Call("POST", "menu_version_submit", "head_roaster", lambda t: {}, thing="menu_draft"),
    Call("POST", "menu_version_return", "head_roaster", lambda t: {"remark": "Too dark"},
         thing="menu_reviewed", also={"remark": ["", " "]}),
    Call("POST", "menu_version_approve", "second_roaster", thing="menu_reviewed",
         body=lambda t: signed(t, "second_roaster", digest=MenuVersion.objects.get(
             pk=t.pk("menu_reviewed")).content_digest),
         also={**SIGNATURE, "digest": ["0" * 64]}),
    Call("POST", "menu_version_withdraw", "head_roaster", lambda t: {"reason": "Over"},
         thing="menu_approved", also=REASON),
    Call("POST", "menu_plan", "head_roaster", plan_for, thing="menu_approved", also=SITES),
    Call("POST", "menu_publish", "head_roaster", signed_menu, thing="menu_approved", good=201,
         also={**SITES, **REASON, **SIGNATURE, "seen_digest": ["0" * 64]}),
    Call("POST", "site_menu", "head_roaster", thing="site_code",
         body=lambda t: {"menu": another(t), "instead_of": t.pk("menu")},
         also={"menu": FOREIGN, "instead_of": FOREIGN}),
]  # fmt: skip
