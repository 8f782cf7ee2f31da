"""Matters, who was told of each, the messages that told them, and what people chose."""

from typing import Self

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from audit.capture.governed import exempt, governed
from audit.capture.models import one_of
from people.notices.kinds import AtLeast, How


class MatterQuerySet(models.QuerySet["Matter"]):
    """Queries on matters."""

    def open(self) -> Self:
        """Those that last."""
        return self.filter(ended_at=None)


@exempt("worked out from tables that are governed; made anew every minute")
class Matter(models.Model):
    """One thing worth hearing of, from when it arose to when it ended.

    What comes again after that is another row, of which people hear again.
    """

    kind = models.CharField(max_length=30)
    key = models.CharField(max_length=150)
    title = models.CharField(max_length=200)
    words = models.TextField(blank=True)
    url = models.CharField(max_length=400)
    sites = ArrayField(models.BigIntegerField(), null=True)
    to = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, null=True, related_name="+"
    )
    not_for = ArrayField(models.BigIntegerField(), default=list)
    arose_at = models.DateTimeField(db_default=Now())
    ended_at = models.DateTimeField(null=True)
    early = models.BooleanField("was there when its kind was first looked for", db_default=False)

    objects = MatterQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "key"], condition=Q(ended_at=None), name="matter_open_once"
            ),
        ]

    def __str__(self) -> str:
        return self.title


@exempt("when our own looking began; nothing rests on it")
class Beginning(models.Model):
    """Since when one kind of matter is looked for in this database."""

    kind = models.CharField(max_length=30, unique=True)
    at = models.DateTimeField("when", db_default=Now())

    def __str__(self) -> str:
        return self.kind


class MessageState(models.TextChoices):
    """What became of a message."""

    WAITING = "waiting", "waits"
    SENT = "sent", "sent"
    REFUSED = "refused", "refused"
    DROPPED = "dropped", "no longer needed"


class Way(models.TextChoices):
    """By which way a message goes."""

    MAIL = "mail", "mail"
    PUSH = "push", "devices"


class MessageQuerySet(models.QuerySet["Message"]):
    """Queries on messages."""

    def waiting(self) -> Self:
        """Still to go out."""
        return self.filter(state=MessageState.WAITING)

    def of(self, person: models.Model) -> Self:
        """One person's, the newest first."""
        return self.filter(person_id=person.pk).order_by("-id")


@exempt("what was sent to whom about governed tables; nothing rests on it")
class Message(models.Model):
    """One mail or push to one person, until a server took it.

    `name` is what its Message-ID begins with: of one matter always the same, so that a mail sent
    twice (a worker killed between server and database) is one to whoever receives it.
    """

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="messages"
    )
    name = models.CharField(max_length=80, unique=True)
    way = models.CharField(max_length=4, choices=Way)
    how = models.CharField(max_length=8, choices=How)
    state = models.CharField(max_length=8, choices=MessageState, default=MessageState.WAITING)
    subject = models.CharField(max_length=250, blank=True)
    address = models.CharField("sent to", max_length=254, blank=True)
    said = models.CharField("what the server said", max_length=300, blank=True)
    tries = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(db_default=Now())
    next_at = models.DateTimeField("next try", db_default=Now())
    done_at = models.DateTimeField("when", null=True)

    objects = MessageQuerySet.as_manager()

    class Meta:
        constraints = [
            one_of("way", Way, name="message_way_is_known"),
            one_of("how", How, name="message_how_is_known"),
            one_of("state", MessageState, name="message_state_is_known"),
        ]
        indexes = [
            models.Index(
                fields=["way", "next_at"], condition=Q(state="waiting"), name="message_waiting"
            ),
            models.Index(fields=["person", "-id"], name="message_of_person"),
        ]

    def __str__(self) -> str:
        return self.name


@exempt("who was told of what; nothing rests on it")
class Notice(models.Model):
    """That one person hears of one matter: once, the database says so.

    Without a message where they saw it themselves.
    """

    matter = models.ForeignKey(Matter, on_delete=models.CASCADE, related_name="notices")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notices"
    )
    how = models.CharField(max_length=8, choices=How)
    seen = models.BooleanField(default=False)
    message = models.ForeignKey(
        Message, on_delete=models.CASCADE, null=True, related_name="notices"
    )
    made_at = models.DateTimeField(db_default=Now())

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["matter", "person"], name="notice_once"),
            one_of("how", How, name="notice_how_is_known"),
        ]

    def __str__(self) -> str:
        return f"notice {self.pk}"


@exempt("what somebody wants to hear of; changes nothing but their own mail")
class Choice(models.Model):
    """How one person wants to hear of one kind; the usual way without a row."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="notice_choices"
    )
    kind = models.CharField(max_length=30)
    how = models.CharField(max_length=8, choices=How)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "kind"], name="choice_once_a_kind"),
            one_of("how", How, name="choice_how_is_known"),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.how}"


class Weekday(models.IntegerChoices):
    """Days as ISO 8601 numbers them."""

    MONDAY = 1, "Monday"
    TUESDAY = 2, "Tuesday"
    WEDNESDAY = 3, "Wednesday"
    THURSDAY = 4, "Thursday"
    FRIDAY = 5, "Friday"
    SATURDAY = 6, "Saturday"
    SUNDAY = 7, "Sunday"


USUAL_HOUR = 7
USUAL_DAY = Weekday.MONDAY


@exempt("when somebody wants their mail, and when they had it last; changes nothing else")
class Reader(models.Model):
    """When one person reads what is collected, by the clock of their site."""

    person = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reader"
    )
    hour = models.PositiveSmallIntegerField(default=USUAL_HOUR)
    weekday = models.PositiveSmallIntegerField("day of the week", default=USUAL_DAY)
    daily_on = models.DateField("last daily mail", null=True)
    weekly_on = models.DateField("last weekly mail", null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(hour__lte=23), name="reader_hour_is_of_a_day"),
            models.CheckConstraint(
                condition=Q(weekday__range=(1, 7)), name="reader_weekday_is_of_a_week"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.hour}:00"


class NoticeRule(models.Model):
    """What an owner asks everybody to hear of, and how soon at least: it can't be switched off."""

    kind = models.CharField(max_length=30, unique=True)
    at_least = models.CharField(max_length=8, choices=AtLeast)

    class Meta:
        constraints = [one_of("at_least", AtLeast, name="notice_rule_is_known")]
        triggers = governed(
            subject="policy", subject_id="1", label="'Notices: ' || replace(n.kind, '_', ' ')"
        )

    def __str__(self) -> str:
        return f"{self.kind}: {self.at_least}"
