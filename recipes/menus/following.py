"""Letting a site follow a menu, or follow none."""

from django.db.models.functions import Now

from audit.capture.context import recorded
from audit.errors import Refused, Stale, Subject
from people.persons.models import User
from people.persons.permissions import require
from people.persons.verbs import Verb
from recipes.menus import history
from recipes.menus.models import Following, Menu, followed_by
from stations.equipment.models import Site


def follow(*, by: User, site: Site, menu: Menu | None, instead_of: int | None) -> Following | None:
    """Let a site follow this menu from now on, or none; its slots keep what they hold.

    ``instead_of`` is the menu (id) that it was seen to follow, None for none. Raises NotPermitted,
    Stale where it follows another by now, Refused where nothing would change.
    """
    action = history.MENU_FOLLOWED if menu else history.MENU_LEFT
    subject = Subject("site", site.pk, str(site))
    with recorded(by=by, action=action, subject=subject, site_id=site.pk):
        require(by, Verb.PUBLICATION_SIGN, site.pk, subject)
        _take_turns(site)
        current = _as_seen(site, instead_of)
        if (current and current.menu) == menu:
            raise Refused(f"{site} follows {menu or 'no menu'} already.")
        if current:
            Following.objects.filter(pk=current.pk).update(until=Now(), ended_by=by)
        return Following.objects.create(menu=menu, site=site, by=by) if menu else None


def _take_turns(site: Site) -> None:
    """Decisions about one site wait for each other; who only refers to it need not wait."""
    rows = Site.objects.order_by().filter(pk=site.pk).select_for_update(no_key=True)
    list(rows.values_list("pk"))


def _as_seen(site: Site, menu_id: int | None) -> Following | None:
    current = followed_by(site.pk)
    if (current.menu_id if current else None) != menu_id:
        follows = f"{site} follows {current.menu if current else 'no menu'} by now: look again."
        raise Stale(follows, current.menu_id if current else 0)
    return current
