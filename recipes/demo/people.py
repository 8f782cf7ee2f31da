"""The people of the demo, by role only, and how each signs in."""

from dataclasses import dataclass

from audit.capture.context import recorded
from people.persons.actions import assign_role, create_person
from people.persons.models import User
from people.persons.verbs import Role
from people.sign_in.adapter import PASSWORD_SET
from people.signatures.signing import Credentials
from stations.equipment.models import Site

PASSWORD = "espresso-demo-only"  # noqa: S105 - the demo's, printed at its start


@dataclass(frozen=True)
class Member:
    """One person of the demo; ``sites`` empty: all of them."""

    key: str
    name: str
    role: Role
    sites: tuple[str, ...] = ()

    @property
    def email(self) -> str:
        """The address they sign in with."""
        return f"{self.key.replace('_', '-')}@portaledger.example"


MEMBERS = (
    Member("owner", "Owner", Role.OWNER),
    Member("head_roaster", "Head roaster", Role.HEAD_ROASTER),
    Member("second_roaster", "Second roaster", Role.HEAD_ROASTER),
    Member("lead_harbour", "Shop lead, Harbour", Role.SHOP_LEAD, ("harbour",)),
    Member("lead_tramway", "Shop lead, Tramway", Role.SHOP_LEAD, ("tramway",)),
    Member("lead_uphill", "Shop lead, Brickworks and Summit", Role.SHOP_LEAD, ("brickworks", "summit")),
    Member("lead_citadel", "Shop lead, Citadel", Role.SHOP_LEAD, ("citadel",)),
    Member("barista", "Barista, Harbour", Role.BARISTA, ("harbour",)),
    Member("technician", "Technician", Role.TECHNICIAN),
)  # fmt: skip

# One sign-in per role, for whoever starts the demo.
SHOWN = ("owner", "head_roaster", "second_roaster", "lead_harbour", "barista", "technician")


@dataclass(frozen=True)
class Cast:
    """The people once they exist, by key."""

    people: dict[str, User]

    def __getitem__(self, key: str) -> User:
        """The person with that key."""
        return self.people[key]

    def signs(self, key: str) -> Credentials:
        """What this person types to sign."""
        return Credentials(password=PASSWORD, identification=self.people[key].email)


def make_people(members: tuple[Member, ...] = MEMBERS) -> Cast:
    """Everybody, without roles at sites that don't exist yet."""
    return Cast({member.key: _make(member) for member in members})


def _make(member: Member) -> User:
    person = create_person(by=None, email=member.email, name=member.name)
    with recorded(by=None, action=PASSWORD_SET):
        person.set_password(PASSWORD)
        person.save(update_fields=["password", "password_set_at"])
    if not member.sites:
        assign_role(by=None, person=person, role=member.role, site_id=None)
    return person


def assign_sites(cast: Cast, sites: dict[str, Site]) -> None:
    """The roles that belong to single bars."""
    for member in MEMBERS:
        for code in member.sites:
            assign_role(
                by=cast["owner"], person=cast[member.key], role=member.role, site_id=sites[code].pk
            )


def sign_ins() -> list[tuple[str, str]]:
    """Name and address of the people shown at the start."""
    return [(member.name, member.email) for member in MEMBERS if member.key in SHOWN]
