"""A third head roaster, where two must race and neither may be the author."""

from django.contrib.auth.hashers import make_password

from audit.capture.context import recorded
from people.persons.actions import assign_role, create_person
from people.persons.models import User
from people.persons.verbs import Role
from people.sign_in.adapter import PASSWORD_SET
from tests.cast import PASSWORD, Cast


def third_roaster(cast: Cast) -> User:
    """Signs in with PASSWORD, like everybody."""
    person = create_person(by=cast.owner, email="third@example.com", name="Third roaster")
    assign_role(by=cast.owner, person=person, role=Role.HEAD_ROASTER, site_id=None)
    with recorded(by=None, action=PASSWORD_SET):
        person.password = make_password(PASSWORD)
        person.save(update_fields=["password"])
    return User.objects.get(pk=person.pk)
