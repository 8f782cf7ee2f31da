"""Who is told of what: by role and site, once, not what they saw, at the hour they chose."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from people.devices.models import Device
from people.notices.finding import find_matters
from people.notices.kinds import Found, How
from people.notices.models import Beginning, Choice, Matter, Message, Notice, NoticeRule, Reader
from people.notices.seen import HOLD, mark_opened
from people.notices.telling import tell
from people.persons.actions import remove_assignment
from people.persons.models import Assignment, User
from tests.cast import Cast
from tests.people.conftest import CODE, Matters

pytestmark = pytest.mark.usefixtures("mailing")


def at(cast: Cast, key: str = "one", **others: object) -> Found:
    given = {"title": f"Thing {key}", "url": f"/things/{key}/", "sites": (cast.site.pk,), **others}
    return Found(key, **given)  # type: ignore[arg-type]


def told(now: datetime | None = None) -> list[str]:
    """Find, tell, and who has a new message."""
    before = set(Message.objects.values_list("pk", flat=True))
    find_matters()
    tell(now)
    new = Message.objects.exclude(pk__in=before).order_by("person__email", "pk")
    return [email.partition("@")[0] for email in new.values_list("person__email", flat=True)]


def test_whoever_may_do_it_at_that_site_is_told(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    assert told() == ["head_roaster", "second_roaster", "shop_lead"]


def test_roles_count_as_they_are_when_it_is_told(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    find_matters()
    remove_assignment(by=cast.owner, assignment=Assignment.objects.get(user=cast.shop_lead))
    User.objects.filter(pk=cast.second_roaster.pk).update(is_active=False)
    assert told() == ["head_roaster"]


def test_nobody_is_told_twice_however_often_it_runs(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    assert told()
    matters.is_now(at(cast, title="The same in other words"))
    assert told() == []
    assert told() == []
    assert Matter.objects.get().title == "The same in other words"


def test_what_ended_and_came_again_is_told_again(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    first = told()
    matters.is_now()
    assert told() == []
    matters.is_now(at(cast))
    assert told() == first
    assert Matter.objects.count() == 2


def test_the_database_allows_one_notice_a_matter_and_person(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    told()
    one = Notice.objects.first()
    assert one is not None
    with pytest.raises(IntegrityError), transaction.atomic():
        Notice.objects.create(matter=one.matter, person=one.person, how=How.AT_ONCE)
    with pytest.raises(IntegrityError), transaction.atomic():
        Matter.objects.create(kind=CODE, key="one", title="Again", url="/")


def test_it_is_for_one_person_or_not_for_them(cast: Cast, matters: Matters) -> None:
    matters.is_now(
        at(cast, "theirs", to=cast.shop_lead.pk),
        at(cast, "own", not_for=(cast.head_roaster.pk, cast.shop_lead.pk)),
        at(cast, "not at their site", to=cast.other_lead.pk),
    )
    assert told() == ["second_roaster", "shop_lead"]


def test_what_somebody_has_looked_at_is_not_told(cast: Cast, matters: Matters) -> None:
    matters.is_now(at(cast))
    find_matters()
    mark_opened(cast.shop_lead.pk, "/things/one/")
    assert told() == ["head_roaster", "second_roaster"]
    assert told(timezone.now() + timedelta(days=2)) == []
    assert Notice.objects.get(person=cast.shop_lead).seen


def test_opened_before_anybody_looked_for_it_but_after_it_arose(
    cast: Cast, matters: Matters
) -> None:
    mark_opened(cast.shop_lead.pk, "/things/one/")
    matters.is_now(at(cast, since=timezone.now() - timedelta(seconds=20)))
    assert told() == ["head_roaster", "second_roaster"]
    assert Notice.objects.get(person=cast.shop_lead).seen


def test_whoever_has_the_page_open_is_told_when_they_left_it(cast: Cast, matters: Matters) -> None:
    mark_opened(cast.shop_lead.pk, "/things/one/")
    matters.is_now(at(cast))
    assert "shop_lead" not in told()
    assert told(timezone.now() + HOLD + timedelta(seconds=5)) == ["shop_lead"]


def test_many_at_once_are_one_message(cast: Cast, matters: Matters) -> None:
    matters.is_now(*(at(cast, str(n)) for n in range(3)))
    assert told().count("shop_lead") == 3
    matters.is_now(*(at(cast, str(n)) for n in range(9)))
    assert told().count("shop_lead") == 1
    assert Notice.objects.filter(person=cast.shop_lead).count() == 9


# What is chosen. 2026-07-06 is a Monday; Lisbon is one hour ahead of UTC then, Denver six behind.
MONDAY = datetime(2026, 7, 6, tzinfo=UTC)


def hear(person: User, how: How, **when: int) -> None:
    Choice.objects.update_or_create(person=person, kind=CODE, defaults={"how": how})
    Reader.objects.update_or_create(person=person, defaults=when)


def test_what_is_collected_comes_at_the_hour_of_their_site(cast: Cast, matters: Matters) -> None:
    hear(cast.shop_lead, How.DAILY, hour=9)
    hear(cast.other_lead, How.DAILY, hour=9)
    both = {"sites": (cast.site.pk, cast.other_site.pk), "not_for": (
        cast.head_roaster.pk, cast.second_roaster.pk)}  # fmt: skip
    matters.is_now(*(at(cast, str(n), **both) for n in range(5)))
    assert told(MONDAY.replace(hour=7, minute=59)) == []
    assert told(MONDAY.replace(hour=8)) == ["shop_lead"]
    assert told(MONDAY.replace(hour=14, minute=59)) == []
    assert told(MONDAY.replace(hour=15)) == ["other_lead"]
    matters.is_now(at(cast, "new", **both))
    assert told(MONDAY.replace(hour=23)) == []
    assert told(MONDAY + timedelta(days=1, hours=9)) == ["shop_lead"]


def test_weekly_comes_on_the_chosen_day(cast: Cast, matters: Matters) -> None:
    hear(cast.shop_lead, How.WEEKLY, hour=9, weekday=3)
    matters.is_now(at(cast, to=cast.shop_lead.pk))
    assert told(MONDAY.replace(hour=12)) == []
    assert told(MONDAY + timedelta(days=2, hours=12)) == ["shop_lead"]


def test_what_was_switched_off_is_not_told_unless_an_owner_asks_for_it(
    cast: Cast, matters: Matters
) -> None:
    hear(cast.shop_lead, How.OFF)
    matters.is_now(at(cast, to=cast.shop_lead.pk))
    assert told() == []
    NoticeRule.objects.create(kind=CODE, at_least="at_once")
    assert told() == ["shop_lead"]


def test_without_mail_nothing_is_lost(
    cast: Cast, matters: Matters, settings: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("people.notices.telling.mail_hindrance", lambda: "No mail server")
    matters.is_now(at(cast), at(cast, "brief"))
    assert told() == []
    matters.is_now(at(cast))
    monkeypatch.setattr("people.notices.telling.mail_hindrance", lambda: "")
    assert told() == ["head_roaster", "second_roaster", "shop_lead"]


def test_telling_asks_the_same_of_the_database_however_much_there_is(
    cast: Cast, matters: Matters
) -> None:
    counts = []
    for many in (1, 200):
        matters.is_now(*(at(cast, str(n)) for n in range(many)))
        with CaptureQueriesContext(connection) as asked:
            told()
        counts.append(len(asked))
    assert counts[0] == counts[1] <= 20


# A database that is older than notices, or than one kind of them. LATER is a Monday after what
# arises while the tests run, Lisbon one hour ahead of UTC.
LATER = datetime(2098, 7, 7, tzinfo=UTC)


def test_what_was_there_before_comes_together_with_the_days_mail(
    cast: Cast, matters: Matters
) -> None:
    Beginning.objects.all().delete()
    early = [at(cast, str(n)) for n in range(2)]
    matters.is_now(*early)
    assert told(LATER.replace(hour=5)) == []
    assert told(LATER.replace(hour=6)) == ["shop_lead"]  # seven at their bar
    assert Message.objects.get().how == How.DAILY
    matters.is_now(*early, at(cast, "new"))
    assert told(LATER.replace(hour=6, minute=1)) == ["head_roaster", "second_roaster", "shop_lead"]
    assert Notice.objects.filter(person=cast.shop_lead).count() == 3


@pytest.mark.parametrize("how", [How.WEEKLY, How.OFF])
def test_it_comes_no_sooner_than_was_chosen(cast: Cast, matters: Matters, how: How) -> None:
    Beginning.objects.all().delete()
    hear(cast.shop_lead, how, weekday=3)
    matters.is_now(at(cast, to=cast.shop_lead.pk))
    assert told(LATER.replace(hour=12)) == []


def test_what_an_owner_asks_for_at_once_comes_at_once(cast: Cast, matters: Matters) -> None:
    Beginning.objects.all().delete()
    NoticeRule.objects.create(kind=CODE, at_least="at_once")
    matters.is_now(at(cast, to=cast.shop_lead.pk))
    assert told(LATER.replace(hour=5)) == ["shop_lead"]


def test_where_no_mail_goes_out_devices_hear_of_it(
    cast: Cast, matters: Matters, monkeypatch: pytest.MonkeyPatch
) -> None:
    Beginning.objects.all().delete()
    monkeypatch.setattr("people.notices.telling.mail_hindrance", lambda: "No mail server")
    Device.objects.create(person=cast.shop_lead, endpoint="https://push.example.com/1")
    hear(cast.shop_lead, How.PUSH)
    matters.is_now(at(cast, to=cast.shop_lead.pk))
    assert told(LATER.replace(hour=5)) == ["shop_lead"]
    assert Message.objects.get().way == "push"
