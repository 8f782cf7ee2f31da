"""Settings, all of them read from the environment (config.environment)."""

import django_stubs_ext

from config.settings.base import *
from config.settings.security import *
from config.settings.services import *

# Lets Django's classes be named with their type arguments, as strict typing asks.
django_stubs_ext.monkeypatch()
