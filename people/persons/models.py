"""Who can sign in."""

from typing import ClassVar, Self

from django.conf import settings
from django.contrib import auth
from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password, make_password
from django.db import models
from django.db.models.functions import Lower, Now
from django.utils import timezone
from django.utils.crypto import salted_hmac

from audit.capture.context import recorded
from audit.capture.governed import governed
from audit.capture.models import one_of
from audit.revision import Revised
from audit.vocabulary import register
from people.persons.likeness import name_keyed
from people.persons.standing import where_they_stand
from people.persons.units import Masses, Temperatures, choice_of
from people.persons.verbs import Held, Role, Verb, roles_at, sites_where
from web.units import Choice

PASSWORD_REHASHED = register("person.password_rehashed", "Password hashed anew at sign-in")


def name_key(name: object, *, folded_first: bool) -> models.Func:
    """What the database says that a name (an expression) reads as."""
    given = models.Value(folded_first)
    return models.Func(name, given, function="people_name_key", output_field=models.TextField())


class UserManager(BaseUserManager["User"]):
    """Finds people by e-mail; adding one is the action people.persons.actions.create_person."""

    def get_by_natural_key(self, username: str | None) -> "User":
        """E-mail addresses are kept in lower case, whatever was typed."""
        return self.get(email=(username or "").strip().lower())

    def alike(self, name: str) -> "models.QuerySet[User]":
        """Those whose name reads like this one."""
        typed = models.Value(name)
        folded, seen = name_key(typed, folded_first=True), name_key(typed, folded_first=False)
        of_before = self.filter(name_folded=None).annotate(
            folded_now=name_key(models.F("name"), folded_first=True),
            seen_now=name_key(models.F("name"), folded_first=False),
        )
        unkeyed = of_before.filter(models.Q(folded_now=folded) | models.Q(seen_now=seen))
        keyed = models.Q(name_folded=folded) | models.Q(name_seen=seen)
        return self.filter(keyed | models.Q(pk__in=unkeyed.values("pk")))


class User(AbstractBaseUser, Revised):
    """A person who signs in with an e-mail address; never deleted, only deactivated."""

    email = models.EmailField("e-mail address", unique=True)
    name = models.CharField(
        "printed name", max_length=80, help_text="As it stands beside signatures and on sheets."
    )
    # What the name reads as, filled by the database (people.persons.likeness); empty only beside
    # a name of before the rule that reads like an earlier one.
    name_folded = models.TextField(null=True, editable=False, unique=True)  # noqa: DJ001 - as said
    name_seen = models.TextField(null=True, editable=False, unique=True)  # noqa: DJ001 - as said
    is_active = models.BooleanField("may sign in", default=True)
    created_at = models.DateTimeField(db_default=Now(), editable=False)
    # The hash itself never enters the history; that it was changed, and when, does.
    password_set_at = models.DateTimeField(null=True, editable=False)
    # Whoever holds the link may set the password: the history says who had one made, and when.
    invited_at = models.DateTimeField("link to set a password made", null=True, editable=False)

    # When every browser signed in so far was signed out for good.
    signed_out_at = models.DateTimeField("signed out everywhere", null=True, editable=False)

    # How figures are shown to them and taken from them (people.units).
    temperatures = models.CharField(
        max_length=6, choices=Temperatures, default=Temperatures.CELSIUS,
        db_default=Temperatures.CELSIUS.value,
    )  # fmt: skip
    masses = models.CharField(
        "dose, yield and weighed water", max_length=7, choices=Masses, default=Masses.GRAM,
        db_default=Masses.GRAM.value,
    )  # fmt: skip

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    objects: ClassVar[UserManager] = UserManager()

    _roles_held: "list[Assignment] | None" = None

    class Meta:
        ordering = ["name", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(email=Lower("email")), name="person_email_is_lower_case"
            ),
            one_of("temperatures", Temperatures, name="person_temperatures_are_known"),
            one_of("masses", Masses, name="person_masses_are_known"),
        ]
        triggers = [
            name_keyed(),
            *governed(
                subject="person",
                label="n.name",
                exclude=("last_login", "revision", "name_folded", "name_seen"),
                secret=("password",),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def units(self) -> Choice:
        """The units their pages are in."""
        return choice_of(self.temperatures, self.masses)

    def set_password(self, raw_password: str | None) -> None:
        """Hash and keep the password, and when that was."""
        super().set_password(raw_password)
        self.password_set_at = timezone.now()

    def check_password(self, raw_password: str | None) -> bool:
        """Whether it is the one; hashed anew where the settings have a better way by now."""

        def hash_anew(right: str) -> None:
            with recorded(by=self, action=PASSWORD_REHASHED):
                self.password = make_password(right)
                self.save(update_fields=["password"])

        return check_password(raw_password, self.password, hash_anew)

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """What a session must carry to be this person's: Django's, and the last signing out.

        The one method that also serves keys that are being replaced (SECRET_KEY_FALLBACKS).
        """
        if self.signed_out_at is None:
            return str(super()._get_session_auth_hash(secret=secret))  # type: ignore[misc]
        value = f"{self.password}{self.signed_out_at.timestamp()}"
        return salted_hmac("people.session", value, secret=secret, algorithm="sha256").hexdigest()

    def has_perm(self, perm: str, obj: models.Model | None = None) -> bool:
        """Django's question, put to the sign-in backends (people.sign_in.adapter answers it)."""
        if not self.is_active:
            return False
        return any(backend.has_perm(self, perm, obj=obj) for backend in auth.get_backends())

    def roles_held(self, *, anew: bool = False) -> list[Held]:
        """Their roles as they count here and now, remembered as long as this object lives (one
        request) unless asked anew. At a site's tablet they end at that site.

        None for the deactivated: that counts at once, not at the next sign-in.
        """
        if anew or self._roles_held is None:
            mine = Assignment.objects.filter(user_id=self.pk, user__is_active=True)
            self._roles_held = list(mine)
        return where_they_stand(self.pk, self._roles_held)

    def forget_roles(self) -> None:
        """After a change of roles: the next question reads them anew."""
        self._roles_held = None

    def history_sites(self) -> frozenset[int] | None:
        """The sites whose history this person may read; None means every site."""
        return sites_where(self.roles_held(), Verb.HISTORY_VIEW)

    def matter_sites(self) -> frozenset[int] | None:
        """The sites of which this person may read what happened to recipes and slots."""
        return sites_where(self.roles_held(), Verb.RECIPE_HISTORY)

    def history_role(self, site_id: int | None) -> str:
        """The roles that count at that site, as an entry of the history names them.

        As remembered: a query here would be one more in every action, only to be read.
        """
        return ", ".join(role.label.lower() for role in roles_at(self.roles_held(), site_id))

    def role_labels(self) -> list[str]:
        """Each role held once, in the order of the table, for headers and lists."""
        roles = {assignment.role for assignment in self.assignments.all()}
        return [role.label for role in Role if role in roles]


# Which role a person has, and where.


def all_sites() -> models.QuerySet[models.Model]:
    """Every site. Its model lies a layer above this one: only the role's own link leads there."""
    site = Assignment._meta.get_field("site").related_model
    assert not isinstance(site, str)  # it is resolved once all models are there
    return site._default_manager.all()


class AssignmentQuerySet(models.QuerySet["Assignment"]):
    """Queries on roles given."""

    def of(self, person: models.Model) -> Self:
        """One person's, with the sites' names, in the order they are listed."""
        return self.filter(user_id=person.pk).select_related("site").order_by("role", "site__name")


class Assignment(models.Model):
    """One role of one person at one site, or at every site where `site` is empty."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="assignments"
    )
    role = models.CharField(max_length=20, choices=Role.choices)
    site = models.ForeignKey(
        "stations.Site", null=True, blank=True, on_delete=models.PROTECT, related_name="assignments"
    )
    created_at = models.DateTimeField(db_default=Now(), editable=False)

    objects = AssignmentQuerySet.as_manager()

    by_pin = False  # a role as it is given counts in full

    class Meta:
        ordering = ["role", "site_id"]
        constraints = [
            models.UniqueConstraint(
                fields=["user", "role", "site"], nulls_distinct=False, name="assignment_once"
            ),
            one_of("role", Role, name="assignment_role_is_known"),
        ]
        triggers = governed(
            subject="person",
            subject_id="n.user_id",
            label="(SELECT name FROM people_user WHERE id = n.user_id)",
            site_id="n.site_id",
        )

    def __str__(self) -> str:
        return f"{self.get_role_display()} at {self.site or 'all sites'}"
