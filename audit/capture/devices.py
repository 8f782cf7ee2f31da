"""At which device an entry was made, where the program knows one.

The device's number begins the id of the request, which is sealed with every entry: what is in an
entry stays what it was, and entries of before are read as they were written. A caller can't claim
a device: an X-Request-ID that looks like this is not taken over (web.middleware). The requests of a
gateway are told in the same way.
"""

import re
import uuid

BEGINS = "device-"
GATEWAY_BEGINS = "gateway-"
PATTERN = "^device-([0-9]+)-"
"""What finds the number, in Python and PostgreSQL alike: an index is made of it."""
_NUMBERED = re.compile(PATTERN)


def request_id_at(device: int) -> str:
    """A new id for a request that comes from this device."""
    return f"{BEGINS}{device}-{uuid.uuid4().hex}"


def device_of(request_id: str) -> int | None:
    """The number of the device; None where the program knew of none."""
    found = _NUMBERED.match(request_id)
    return int(found[1]) if found else None
