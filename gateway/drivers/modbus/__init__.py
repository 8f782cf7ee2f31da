"""Machines that speak Modbus/TCP, each by a map of its registers (docs/writing-a-driver.md).

`mapping` reads the map and refuses what no driver may touch, `registers` turns values into
registers and back, `driver` is the four methods.
"""

from gateway.drivers.modbus.driver import from_map

__all__ = ["from_map"]
