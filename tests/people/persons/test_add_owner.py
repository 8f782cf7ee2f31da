"""The first owner of a new deployment, and that the demo's people never come into one."""

import io

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from pytest_django.fixtures import Settings

from audit.capture.context import RequestContext, request_context
from audit.capture.models import Entry
from people.persons.models import Assignment, User

pytestmark = pytest.mark.django_db
ADDED = ("add_owner", "Boss@Example.com", "Owner")


@pytest.fixture(autouse=True)
def _as_before() -> object:
    """The commands say that they are the console; here others come after them."""
    token = request_context.set(RequestContext())
    yield
    request_context.reset(token)


def _run(*arguments: str) -> str:
    told = io.StringIO()
    call_command(*arguments, stdout=told)
    return told.getvalue()


def test_they_own_all_sites_and_set_their_password_by_the_link(client: Client) -> None:
    [link] = [word for word in _run(*ADDED, "--site=http://testserver").split() if "://" in word]
    assert Assignment.objects.get(user__email="boss@example.com", role="owner").site_id is None
    form = client.get(link, follow=True)
    both = {"password1": "a fine long phrase", "password2": "a fine long phrase"}
    client.post(form.redirect_chain[-1][0], both)
    client.post("/account/login/", {"login": "boss@example.com", "password": both["password1"]})
    assert client.get("/people/").status_code == 200
    by_console = Entry.objects.filter(channel="console", subject_type="person")
    assert set(by_console.values_list("action", flat=True)) == {
        "person.added",
        "role.assigned",
        "person.invited",
    }


def test_the_address_is_that_of_the_deployment(settings: Settings) -> None:
    settings.ALLOWED_HOSTS = ["ledger.example.org"]
    assert "https://ledger.example.org/account/password/reset/key/" in _run(*ADDED)


def test_a_second_time_and_with_nonsense_it_says_why(settings: Settings) -> None:
    _run(*ADDED)
    for address, name, why in (
        ("boss@example.com", "Other", "nobody here has yet"),
        ("nowhere", "Other", "e-mail address such as"),
        ("other@example.com", " ", "printable characters"),
    ):
        with pytest.raises(CommandError, match=why):
            _run("add_owner", address, name)
    assert User.objects.count() == 1


def test_a_deployment_takes_no_people_of_the_demo(settings: Settings) -> None:
    settings.DEMO = settings.TESTING = False
    with pytest.raises(CommandError, match="password that everybody knows"):
        _run("load_demo")
    assert not User.objects.exists()
