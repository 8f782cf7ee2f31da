"""The quick cache: figures worked out before and marks, all of which may be lost at any moment.

It is empty while the broker is away. What must not be lost, tries of passwords above all, is in
Django's default cache, which is the database (web.lasting_cache).
"""

from django.core.cache import caches
from django.utils.connection import ConnectionProxy

quick = ConnectionProxy(caches, "quick")
