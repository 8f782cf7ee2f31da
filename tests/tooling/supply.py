"""The bill of materials: what a deployment is made of, as CycloneDX (`make bom`, `make check`).

Built from requirements.txt into var/, since it is worked out and names where packages come from.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator

from tests.tooling.listing import ROOT

BOM = ROOT / "var" / "bom.json"
SCHEMA = SchemaVersion.V1_6
PINNED = re.compile(r"^([A-Za-z0-9._-]+)(?:\[[^\]]*\])?==([^\s;\\]+)")
HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
Pins = dict[tuple[str, str], frozenset[str]]


def pins(requirements: str) -> Pins:
    """The hashes (SHA-256, hex) of every name and version that a requirements file pins."""
    found: dict[tuple[str, str], set[str]] = {}
    hashes = set[str]()
    for line in requirements.splitlines():
        if pinned := PINNED.match(line):
            hashes = found.setdefault((pinned[1], pinned[2]), set())
        hashes.update(HASH.findall(line))
    return {pin: frozenset(given) for pin, given in found.items()}


def build(requirements: Path = ROOT / "requirements.txt") -> str:
    """The bill of these requirements, as JSON; the same bytes every time."""
    tool = [str(Path(sys.executable).parent / "cyclonedx-py"), "requirements", str(requirements)]
    how = [
        *("--pyproject", str(ROOT / "pyproject.toml"), "--mc-type", "application"),
        *("--spec-version", SCHEMA.to_version(), "--short-PURLs", "--output-reproducible"),
        "--no-validate",  # faults() does
    ]
    done = subprocess.run([*tool, *how], check=True, capture_output=True, text=True)
    return done.stdout


def faults(bom: str, wanted: Pins) -> Iterator[str]:
    """Where the bill breaks its schema, or else what of it is not what is pinned."""
    if problem := JsonStrictValidator(SCHEMA).validate_str(bom):
        yield f"the bill does not fit the schema of CycloneDX {SCHEMA.to_version()}: {problem}"
    else:
        yield from unlike(bom, wanted)


def unlike(bom: str, wanted: Pins) -> Iterator[str]:
    """Which pinned packages the bill lacks, has besides, or has with other hashes."""
    listed = {
        (each["name"], each["version"]): _hashes(each) for each in json.loads(bom)["components"]
    }
    for name, version in sorted(wanted.keys() - listed.keys()):
        yield f"{name} {version} is not in the bill"
    for name, version in sorted(listed.keys() - wanted.keys()):
        yield f"{name} {version} is in the bill and not pinned"
    for pin in sorted(wanted.keys() & listed.keys()):
        if not wanted[pin] or listed[pin] != wanted[pin]:
            yield f"{pin[0]} {pin[1]} has other hashes in the bill, or none"


def _hashes(component: dict[str, Any]) -> frozenset[str]:
    places = component.get("externalReferences", [])
    given = [each for place in places for each in place.get("hashes", [])]
    return frozenset(each["content"] for each in given if each["alg"] == "SHA-256")


def main(arguments: list[str]) -> int:
    """Write the bill, or with `check` say what is wrong with it; 1 if anything is."""
    bom = build()
    if arguments != ["check"]:
        BOM.parent.mkdir(exist_ok=True)
        BOM.write_text(bom)
        print(BOM.relative_to(ROOT))
    found = list(faults(bom, pins((ROOT / "requirements.txt").read_text())))
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
