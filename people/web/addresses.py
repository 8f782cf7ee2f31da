"""Where a request came from, as far as that can be believed."""

from ipaddress import ip_address

from django.conf import settings
from django.http import HttpRequest


def client_address(request: HttpRequest) -> str | None:
    """The client's IP address; behind TRUSTED_PROXIES proxies of ours, the one they saw.

    A client can write anything into X-Forwarded-For, but only before what our own proxies add.
    """
    address = str(request.META.get("REMOTE_ADDR", ""))
    proxies: int = settings.TRUSTED_PROXIES
    if proxies:
        forwarded = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",")]
        address = forwarded[-proxies] if len(forwarded) >= proxies else address
    try:
        # Without a zone (fe80::1%eth0), which names this machine's own interface.
        return str(ip_address(address.partition("%")[0]))
    except ValueError:
        return None
