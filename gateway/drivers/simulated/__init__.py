"""A simulated bar: machines that behave like machines, and people who behave like people.

Everything follows from one seed. `pour` is the shot, `bar` the stations and who stands at them,
`driver` what the gateway sees of it.
"""

from gateway.drivers.simulated.driver import from_map

__all__ = ["from_map"]
