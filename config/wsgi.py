"""The WSGI entry point, served by Granian.

WSGI and not ASGI: every view waits on the database through the synchronous ORM, so threads
serve it as well as an event loop would, without a second colour of function in the code.
"""

import gc
import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
# Somebody waits for what this process does: its limits are shorter (config/settings/services.py).
os.environ["PORTALEDGER_PROCESS"] = "web"
application = get_wsgi_application()
gc.freeze()  # what is loaded by now stays: no collection need look through it again
