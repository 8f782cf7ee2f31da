"""The digest that the signature under a menu's version binds: SHA-256 over RFC 8785 JSON.

    {"menu": id, "name": name, "note": text, "number": whole number,
     "slots": {"1": {"content": digest of the recipe's version, "version": id}, …}}

The database computes the same bytes by itself (recipes.menus.guards) and accepts no other digest.
"""

from hashlib import sha256
from typing import Any

import rfc8785

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import content_shown
from recipes.menus.models import MenuVersion
from recipes.versions.digest import content_digest as version_digest


def content(menu_version: MenuVersion) -> dict[str, Any]:
    """What a signer sees, as plain data."""
    return {
        "menu": menu_version.menu_id,
        "name": menu_version.menu.name,
        "note": menu_version.note,
        "number": menu_version.number,
        "slots": {
            str(number): {"content": version.content_digest, "version": version.pk}
            for number, version in menu_version.arrangement.items()
        },
    }


def content_digest(menu_version: MenuVersion) -> str:
    """64 hexadecimal digits."""
    return sha256(rfc8785.dumps(content(menu_version))).hexdigest()


def menu_content(signed: SignatureShown) -> ContentShown:
    """Whether a menu's version, and each recipe's version on it, still is what was signed."""
    rows = MenuVersion.objects.with_menu().with_formulas().prefetch_related("drinks__version__lot")
    found = rows.filter(pk=signed.about_id).first()
    if found is None:
        return content_shown(["the menu's version is gone"])
    now = content_digest(found)
    moved = [] if now == signed.digest else [f"it has {now[:12]}… now"]
    for number, version in found.arrangement.items():
        if version_digest(version) != version.content_digest:
            moved.append(f"what slot {number} is to hold")
    return content_shown(moved)
