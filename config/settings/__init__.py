"""Settings, all of them read from the environment; one small module a subject."""

import django_stubs_ext

from config.settings.apps import *
from config.settings.auth import *
from config.settings.base import *
from config.settings.broker import *
from config.settings.database import *
from config.settings.ledger import *
from config.settings.logs import *
from config.settings.mode import *
from config.settings.rest import *
from config.settings.security import *

# Lets Django's classes be named with their type arguments, as strict typing asks.
django_stubs_ext.monkeypatch()
