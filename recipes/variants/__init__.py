"""What a version says for machine types that cannot do the whole formula."""
