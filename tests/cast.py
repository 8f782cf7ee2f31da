"""The fixed cast: the same people at the same two bars in every test."""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client
from pytest_django.fixtures import Settings
from rest_framework.test import APIClient

from audit.capture.context import recorded
from people.persons.actions import PERSON_ADDED, assign_role, create_person
from people.persons.models import Assignment, User
from people.persons.verbs import Role
from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from people.sign_in.adapter import PASSWORD_SET
from people.signatures.signing import Credentials
from people.tokens.actions import make_token
from people.tokens.models import Scope
from stations.equipment.models import Site

PASSWORD = "correct horse 9 staple"


@dataclass(frozen=True)
class Sites:
    """Two bars: one at the sea, one above 1,600 m, seven hours apart."""

    harbour: Site
    upland: Site


@dataclass(frozen=True)
class Cast:
    """Everyone signs in with PASSWORD. Roasters, technician and owner cover all sites."""

    owner: User
    head_roaster: User
    second_roaster: User
    shop_lead: User  # at the harbour
    other_lead: User  # at the upland bar
    barista: User  # at the harbour
    technician: User
    site: Site  # the harbour
    other_site: Site  # the upland bar

    def everyone(self) -> dict[str, User]:
        """The people by the names of these fields."""
        return {name: who for name, who in vars(self).items() if isinstance(who, User)}


ROLES: dict[str, tuple[Role, str]] = {
    "owner": (Role.OWNER, ""),
    "head_roaster": (Role.HEAD_ROASTER, ""),
    "second_roaster": (Role.HEAD_ROASTER, ""),
    "shop_lead": (Role.SHOP_LEAD, "harbour"),
    "other_lead": (Role.SHOP_LEAD, "upland"),
    "barista": (Role.BARISTA, "harbour"),
    "technician": (Role.TECHNICIAN, ""),
}


def make_sites() -> Sites:
    """The two bars, written to the database."""
    with recorded(by=None, action=PERSON_ADDED):
        return Sites(
            Site.objects.create(
                code="harbour", name="Harbour", time_zone="Europe/Lisbon", altitude=Decimal(12)
            ),
            Site.objects.create(
                code="upland", name="Upland", time_zone="America/Denver", altitude=Decimal(1650)
            ),
        )


def make_cast(sites: Sites) -> Cast:
    """Everyone, with their roles, written to the database."""
    password = make_password(PASSWORD)
    with recorded(by=None, action=PERSON_ADDED):
        people = User.objects.bulk_create(
            User(
                email=f"{name}@example.com",
                name=name.replace("_", " ").capitalize(),
                password=password,
            )
            for name in ROLES
        )
        Assignment.objects.bulk_create(
            Assignment(user=person, role=role, site=getattr(sites, where, None))
            for person, (role, where) in zip(people, ROLES.values(), strict=True)
        )
    members = dict(zip(ROLES, people, strict=True))
    return Cast(**members, site=sites.harbour, other_site=sites.upland)


@pytest.fixture
def sites(db: None) -> Sites:
    """The two bars."""
    return make_sites()


@pytest.fixture
def cast(sites: Sites) -> Cast:
    """Everyone, with their roles."""
    return make_cast(sites)


def credentials(person: User, password: str = PASSWORD) -> Credentials:
    """What this person types for the first signature of a session."""
    return Credentials(password=password, identification=person.email)


SignedIn = Callable[[User], Client]
ApiAs = Callable[..., APIClient]
InPerson = Callable[[User], APIClient]


@pytest.fixture
def signed_in() -> SignedIn:
    """A browser with somebody signed in: `signed_in(cast.owner).get("/people/")`."""

    def browser(person: User) -> Client:
        client = Client()
        client.force_login(person)
        return client

    return browser


@pytest.fixture
def api_as() -> ApiAs:
    """A program with somebody's token: `api_as(cast.owner).get("/api/v1/people/")`."""

    def program(person: User, *scopes: Scope) -> APIClient:
        wanted = scopes or (Scope.READ, Scope.ACT, Scope.SIGN)
        client = APIClient()
        secret = make_token(by=person, name="test", scopes=wanted, days=1)[1]
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
        return client

    return program


@pytest.fixture
def api_in_person() -> InPerson:
    """The API by the session of somebody just signed in, for what no token does."""

    def session(person: User) -> APIClient:
        client = APIClient()
        client.force_login(person)
        return client

    return session


@pytest.fixture(autouse=True)
def _own_cache(settings: Settings) -> None:
    """Limits and counts of one test are not those of the next, nor of one running beside it."""
    own = {"KEY_PREFIX": f"test-{uuid.uuid4().hex}"}
    settings.CACHES = {name: {**cache, **own} for name, cache in settings.CACHES.items()}


def third_roaster(cast: Cast) -> User:
    """One more, where two must race and neither may be the author."""
    person = create_person(by=cast.owner, email="third@example.com", name="Third roaster")
    assign_role(by=cast.owner, person=person, role=Role.HEAD_ROASTER, site_id=None)
    with recorded(by=None, action=PASSWORD_SET):
        person.password = make_password(PASSWORD)
        person.save(update_fields=["password"])
    return User.objects.get(pk=person.pk)


def allow_sole_roaster(cast: Cast, *, on: bool = True) -> None:
    """Let a head roaster approve their own drafts, or no longer."""
    set_policy(
        by=cast.owner,
        revision=Policy.current().revision,
        sole_roaster=on,
        boiling=Boiling.ACKNOWLEDGE,
        credentials=credentials(cast.owner),
    )
