"""What events must look like: the published schemas are the check itself."""

import json
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema_rs import Draft202012Validator

from audit.errors import Problem, shown

FOLDER = Path(__file__).with_name("schemas")
PREFIX = "portaledger."
LOADED, READ_BACK, SHOT, HEARTBEAT, FAULT = (
    f"{PREFIX}{name}.v1" for name in ("loaded", "read_back", "shot", "heartbeat", "fault")
)
TYPES = (LOADED, READ_BACK, SHOT, HEARTBEAT, FAULT)
ENVELOPE = f"{PREFIX}event.v1"
TOLD = 10  # faults of one event that are told


@cache
def texts() -> Mapping[str, bytes]:
    """Every schema as it is published, by its name."""
    return {path.stem: path.read_bytes() for path in sorted(FOLDER.glob("*.json"))}


@cache
def _validator(name: str) -> Draft202012Validator:
    return Draft202012Validator(json.loads(texts()[name]), validate_formats=True)


def faults(name: str, told: object, at: str = "data") -> list[Problem]:
    """What does not fit a schema: field, value and what is allowed."""
    found = list(_faults(_validator(name), told, at))[:TOLD]
    if not found and name == SHOT:
        found = list(_trace_faults(told))
    return found


def _faults(validator: Draft202012Validator, told: Any, at: str) -> Iterator[Problem]:  # noqa: ANN401
    if validator.is_valid(told):
        return
    for error in validator.iter_errors(told):
        field, value = at, told
        for step in error.instance_path:
            field += f"[{step}]" if isinstance(step, int) else f".{step}"
            value = value[step]
        plain = "" if isinstance(value, dict | list) else shown(value)
        yield Problem(field, plain, shown(error.message))


def _trace_faults(told: Any) -> Iterator[Problem]:  # noqa: ANN401
    """What no schema says: arrays of one length, and time that rises."""
    trace = told.get("trace")
    if trace is None:
        return
    long = len(trace["t"])
    for name, values in trace.items():
        if len(values) != long:
            yield Problem(f"data.trace.{name}", len(values), f"as many numbers as `t` has: {long}")
    if any(b <= a for a, b in zip(trace["t"], trace["t"][1:], strict=False)):
        yield Problem("data.trace.t", "", "moments that rise")
