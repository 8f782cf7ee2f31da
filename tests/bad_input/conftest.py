"""The same world that the permission matrix asks about."""

from tests.permissions.conftest import world

__all__ = ["world"]
