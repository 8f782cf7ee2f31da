"""Versions: their digest is worked out anew from the formula, the lot and the recipe."""

from audit.registry import ContentShown, SignatureShown
from people.signed import told
from recipes.digest import content_digest
from recipes.models import Version


def version_content(signed: SignatureShown) -> ContentShown:
    """Of a version."""
    version = Version.objects.with_recipe().with_formula().filter(pk=signed.about_id).first()
    if version is None:
        return told(["the version is gone"])
    now = content_digest(version)
    return told([] if now == signed.digest else [f"it has {now[:12]}… now"])
