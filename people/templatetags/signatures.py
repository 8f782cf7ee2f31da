"""How a signature is printed in full."""

from django import template

from audit.registry import content_of
from people.signatures.models import Signature
from people.signatures.whole import shown

register = template.Library()


@register.inclusion_tag("parts/signature.html")
def signature(signed: Signature, zone: str = "") -> dict[str, object]:
    """A signature in full, and whether the content still has its digest: worked out here."""
    seen = shown(signed)
    return {"signed": seen, "content": content_of(seen), "zone": zone}
