"""One signed plan: publications, permits and re-translations are its three kinds."""
