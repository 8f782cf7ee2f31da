"""What is kept of a PIN: the project's slow hash, over a keyed one.

There are few PINs, so that a hash alone would give each of them away to whoever reads the table.
The key is not in the database: without it there is nothing to try them against.
"""

import hmac
from hashlib import sha256

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password

PURPOSE = b"people.pins"


def hashed(person_id: int, digits: str) -> str:
    """To be kept."""
    return make_password(_keyed(settings.SECRET_KEY, person_id, digits))


def fits(person_id: int, digits: str, kept: str) -> bool:
    """Whether it is the one, also under a key that is being replaced (SECRET_KEY_FALLBACKS)."""
    keys = [settings.SECRET_KEY, *settings.SECRET_KEY_FALLBACKS]
    return any(check_password(_keyed(key, person_id, digits), kept) for key in keys)


def fits_nothing() -> bool:
    """Take as long as a try does, where there is nothing to try."""
    make_password("0000")
    return False


def _keyed(key: str, person_id: int, digits: str) -> str:
    """Hexadecimal; of this person, so that a row copied to another's name fits nothing."""
    own = hmac.digest(key.encode(), PURPOSE, sha256)
    return hmac.new(own, f"{person_id}:{digits}".encode(), sha256).hexdigest()
