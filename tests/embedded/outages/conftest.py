"""Real servers, a real web process, and somebody who may sign in; all for these tests alone."""

from collections.abc import Iterator
from contextlib import ExitStack

import pytest

from embedded.commands import free_ports, temporary_folder
from embedded.stack import run_application, servers
from tests.cast import PASSWORD
from tests.embedded.outages.running import OWNER, Running

MAKE_OWNER = f"""
from people.persons.models import User
from audit.capture.context import recorded
from people.sign_in.adapter import PASSWORD_SET
from django.core.management import call_command
call_command("add_owner", {OWNER!r}, "Owner")
with recorded(by=None, action=PASSWORD_SET):
    person = User.objects.get(email={OWNER!r})
    person.set_password({PASSWORD!r})
    person.save()
"""


@pytest.fixture(scope="session")
def running() -> Iterator[Running]:
    """Database, broker and one web process; no worker."""
    with ExitStack() as exits:
        folder = exits.enter_context(temporary_folder("outages"))
        with pytest.MonkeyPatch.context() as patch:
            for name in ("DATABASE_URL", "REDIS_URL"):
                patch.delenv(name, raising=False)
            stack = exits.enter_context(servers(folder, mode="test"))
        stack.manage("migrate", "--noinput", as_owner=True)
        stack.manage("shell", "-c", MAKE_OWNER)
        stack.env["DATABASE_POOL"] = "4"
        stack.env["DATABASE_LONGEST_QUERY"] = "6"
        (address,) = run_application(stack, ports=free_ports(1), workers=0)
        yield Running(stack, address)
