"""Property tests here run beside others on shared cores: no deadline on one example."""

from hypothesis import settings

settings.register_profile("shared cores", deadline=None)
settings.load_profile("shared cores")
