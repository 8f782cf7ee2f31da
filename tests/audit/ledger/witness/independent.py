"""A second witness of the bytes: cosignatures and proofs from the specifications alone.

Imports nothing of ours and no cryptography package. Ed25519 is RFC 8032 section 5.1 in whole
numbers (slow, fit for checking only), the tree RFC 6962 section 2.1 by recursion over the leaves.
"""

from __future__ import annotations

from base64 import b64decode, b64encode
from collections.abc import Sequence
from hashlib import sha256, sha512

PRIME = 2**255 - 19
ORDER = 2**252 + 27742317777372353535851937790883648493
CURVE = -121665 * pow(121666, PRIME - 2, PRIME) % PRIME
Point = tuple[int, int]
NEUTRAL: Point = (0, 1)


def added(a: Point, b: Point) -> Point:
    """The sum of two points of the twisted Edwards curve -x^2 + y^2 = 1 + d x^2 y^2."""
    (x, y), (u, v) = a, b
    product = CURVE * x * u * y * v
    across = (x * v + u * y) * pow(1 + product, PRIME - 2, PRIME)
    up = (y * v + x * u) * pow(1 - product, PRIME - 2, PRIME)
    return across % PRIME, up % PRIME


def times(factor: int, point: Point) -> Point:
    made = NEUTRAL
    while factor:
        if factor & 1:
            made = added(made, point)
        point, factor = added(point, point), factor >> 1
    return made


def decoded(raw: bytes) -> Point | None:
    """RFC 8032 section 5.1.3."""
    whole = int.from_bytes(raw, "little")
    y, odd = whole & (2**255 - 1), whole >> 255
    if y >= PRIME:
        return None
    square = (y * y - 1) * pow(CURVE * y * y + 1, PRIME - 2, PRIME) % PRIME
    x = pow(square, (PRIME + 3) // 8, PRIME)
    if (x * x - square) % PRIME:
        x = x * pow(2, (PRIME - 1) // 4, PRIME) % PRIME
    if (x * x - square) % PRIME or (x == 0 and odd):
        return None
    return (PRIME - x if x & 1 != odd else x), y


BASE = decoded((4 * pow(5, PRIME - 2, PRIME) % PRIME).to_bytes(32, "little")) or NEUTRAL


def signed_by(public: bytes, signature: bytes, told: bytes) -> bool:
    """RFC 8032 section 5.1.7: whether [S]B = R + [k]A."""
    point, commitment = decoded(public), decoded(signature[:32])
    scalar = int.from_bytes(signature[32:], "little")
    if point is None or commitment is None or len(signature) != 64 or scalar >= ORDER:
        return False
    challenge = int.from_bytes(sha512(signature[:32] + public + told).digest(), "little") % ORDER
    return times(scalar, BASE) == added(commitment, times(challenge, point))


def key_of(line: str) -> tuple[str, bytes, bytes]:
    """Name, key id and 32 public bytes of a witness's key as it is written down."""
    name, key_id, encoded = line.split("+", 2)
    raw = b64decode(encoded)
    assert raw[0] == 4
    assert sha256(name.encode() + b"\n" + raw).digest()[:4].hex() == key_id
    return name, bytes.fromhex(key_id), raw[1:]


def cosigned_at(key: str, body: str, line: str) -> int | None:
    """The POSIX second at which this key cosigned the checkpoint's body; None if it did not."""
    name, key_id, public = key_of(key)
    dash, named, encoded = line.rstrip("\n").split(" ")
    raw = b64decode(encoded)
    at = int.from_bytes(raw[4:12], "big")
    told = f"cosignature/v1\ntime {at}\n{body}".encode()
    fits = (dash, named, raw[:4], line[-1]) == ("\u2014", name, key_id, "\n")
    return at if fits and signed_by(public, raw[12:], told) else None


def hashed(entry: bytes) -> bytes:
    return sha256(b"\x00" + entry).digest()


def top(leaves: Sequence[bytes]) -> bytes:
    """MTH of RFC 6962 section 2.1, over leaf hashes."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    cut = half(len(leaves))
    return sha256(b"\x01" + top(leaves[:cut]) + top(leaves[cut:])).digest()


def half(size: int) -> int:
    cut = 1
    while cut * 2 < size:
        cut *= 2
    return cut


def grown(old: int, leaves: Sequence[bytes], whole: bool = True) -> list[bytes]:
    """PROOF(old, leaves) of RFC 6962 section 2.1.2; empty from nothing."""
    size = len(leaves)
    if old in (0, size):
        return [] if whole or not old else [top(leaves)]
    cut = half(size)
    if old <= cut:
        return [*grown(old, leaves[:cut], whole), top(leaves[cut:])]
    return [*grown(old - cut, leaves[cut:], False), top(leaves[:cut])]


def request(old: int, proof: Sequence[bytes], checkpoint: str) -> bytes:
    """The body of add-checkpoint, C2SP tlog-witness."""
    lines = [f"old {old}", *(b64encode(step).decode() for step in proof), ""]
    return ("\n".join(lines) + "\n" + checkpoint).encode()
