"""The provider of single sign-on of these tests."""

from collections.abc import Iterator

import pytest
from oidc_provider_mock import run_server_in_thread
from pytest_django.fixtures import Settings

from config.settings.security import single_sign_on_settings
from tests.people.sign_in.provider import Provider


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    with run_server_in_thread() as server:
        yield f"http://localhost:{server.server_port}"


@pytest.fixture
def provider(server: str, settings: Settings) -> Provider:
    made = Provider(server)
    for name, value in single_sign_on_settings(server, "portaledger", "x", "Group sign-on").items():
        setattr(settings, name, value)
    made.id = settings.OIDC_ID
    made.says("s-lead", email="shop_lead@example.com", email_verified=True)
    return made
