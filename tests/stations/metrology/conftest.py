"""Property tests without a time limit: the first example may have to import a slow library."""

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
