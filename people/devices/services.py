"""Where a push may go: a browser names the address, so it is somebody's input.

Only https at a name on the usual port, whose every address is a public one. The connection goes to
the very address that was looked at, so that a name can't be another one a moment later; it follows
no redirect, asks no proxy, and reads nothing of the answer but its status.
"""

import socket
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from urllib.parse import urlsplit

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPSConnection
from urllib3.connectionpool import HTTPSConnectionPool

from audit.errors import Invalid

ALLOWED = "an https:// address of a push service, as the browser gives it"
LONGEST = 1_000  # characters
TIMEOUT = (5, 10)  # seconds to connect, and to wait for a byte
# Addresses that lead to an IPv4 one inside them: NAT64 (RFC 6052), 6to4 (RFC 3056), Teredo.
WRAPPING = tuple(
    ip_network(net) for net in ("64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", "2001::/32")
)
INSIDE = (".local", ".localhost", ".internal", ".lan", ".home", ".arpa", ".test", ".invalid")


class NotPublicError(OSError):
    """The name leads to an address inside, or to none."""


def require_push_service(endpoint: str) -> str:
    """The address, if it may be one of a push service by its looks. Raises Invalid (endpoint)."""
    try:
        parts = urlsplit(endpoint)
        port = parts.port
    except ValueError as error:
        raise Invalid("endpoint", endpoint, ALLOWED) from error
    host = (parts.hostname or "").rstrip(".").lower()
    plain = endpoint.isascii() and endpoint.isprintable() and " " not in endpoint
    named = "." in host and not host.endswith(INSIDE) and not _is_address(host)
    fits = parts.scheme == "https" and parts.username is None and port in (None, 443)
    if not (plain and named and fits and len(endpoint) <= LONGEST and "\\" not in endpoint):
        raise Invalid("endpoint", endpoint, ALLOWED)
    return endpoint


def _is_address(host: str) -> bool:
    last = host.rpartition(".")[2]
    return ":" in host or last.isdigit() or last.startswith("0x")


def is_public(address: str) -> bool:
    """Whether an IP address is one of the internet, and leads to nothing else."""
    ip: IPv4Address | IPv6Address = ip_address(address.partition("%")[0])
    if isinstance(ip, IPv6Address) and ip.ipv4_mapped:
        ip = ip.ipv4_mapped
    wraps = isinstance(ip, IPv6Address) and any(ip in net for net in WRAPPING)
    return ip.is_global and not ip.is_multicast and not wraps


def public_address(host: str, port: int) -> str:
    """The address to connect to. Raises NotPublicError if any that the name has lies inside."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotPublicError(f"{host} has no address") from error
    addresses = [str(entry[4][0]) for entry in found]
    if not addresses or not all(is_public(address) for address in addresses):
        raise NotPublicError(f"{host} is not an address of the internet")
    return addresses[0]


class _Connection(HTTPSConnection):
    """Connects to the address that was looked at; the certificate is still that of the name."""

    def _new_conn(self) -> socket.socket:
        port = self.port or 443
        made = socket.create_connection((public_address(self.host, port), port), TIMEOUT[0])
        made.settimeout(TIMEOUT[1])
        return made


class _Pool(HTTPSConnectionPool):
    ConnectionCls = _Connection


class _Adapter(HTTPAdapter):
    def init_poolmanager(self, *args: object, **kwargs: object) -> None:
        super().init_poolmanager(*args, **kwargs)  # type: ignore[arg-type]  # passed on
        self.poolmanager.pool_classes_by_scheme = {"https": _Pool}


def push_session() -> requests.Session:
    """A session that reaches push services and nothing else."""
    session = requests.Session()
    session.trust_env = False  # no proxy, no passwords from a file of this machine
    session.adapters.clear()
    session.mount("https://", _Adapter())
    return session
