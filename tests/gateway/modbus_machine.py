"""A machine that speaks Modbus/TCP, as a process: `python -m tests.gateway.modbus_machine`.

Two stations of two slots in registers 1000 to 1079, their last shots' figures from 3000 on; the
20 registers behind the slots can be read and not written.
Whatever a test wants the machine to have done, it writes into those.
"""

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

from pymodbus.client import ModbusTcpClient
from pymodbus.server import StartTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from tests.tooling.listing import ROOT

MAP = """
[[machine]]
name = "M1"
host = "127.0.0.1"
port = {port}
timeout = 1.0
"""
STATION = """
[[machine.station]]
number = {number}
slots = 2
first_slot = {first}
slot_size = 20
[machine.station.settings]
water_volume = {{ at = 0, type = "uint32", word_order = "little", unit = "{{pulse}}" }}
brew_temperature = {{ at = 2, type = "int16", scale = "0.1", unit = "Cel", low = 85, high = 97 }}
brew_pressure = {{ at = 3, type = "float32", scale = "0.1", unit = "bar" }}
preinfusion_time = {{ at = 8, scale = "0.1", unit = "s", write = 6, absent = 65535 }}
ends_by = {{ at = 10, words = {{ volume = 1, time = 2 }} }}
[machine.station.shot]
count = {{ at = {shot} }}
slot = {{ at = {slot} }}
shot_time = {{ at = {time}, scale = "0.1" }}
beverage_mass = {{ at = {mass}, type = "uint32", scale = "0.01" }}
"""


def map_of(port: int) -> str:
    """The map of this machine."""
    stations = (
        STATION.format(
            number=number,
            first=1000 + 40 * (number - 1),
            **{
                name: 3000 + 10 * (number - 1) + by
                for name, by in (("shot", 0), ("slot", 1), ("time", 2), ("mass", 3))
            },
        )
        for number in (1, 2)
    )
    return MAP.format(port=port) + "".join(stations)


def main(port: int) -> None:
    """Answer until killed; registers of no block answer with an exception."""
    block = [
        SimData(1000, count=80, values=0, datatype=DataType.REGISTERS),
        SimData(1080, count=20, values=0, datatype=DataType.REGISTERS, readonly=True),
        SimData(3000, count=20, values=0, datatype=DataType.REGISTERS),
    ]
    StartTcpServer(SimDevice(id=1, simdata=block), address=("127.0.0.1", port))


@contextmanager
def machine(port: int = 0) -> Iterator[int]:
    """The port of a machine that runs; it is switched off at the end."""
    if not port:
        with socket.create_server(("127.0.0.1", 0)) as found:
            port = found.getsockname()[1]
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.gateway.modbus_machine", str(port)], cwd=ROOT
    )
    try:
        _wait_for(port)
        yield port
    finally:
        process.kill()
        process.wait()


def _wait_for(port: int) -> None:
    for _ in range(200):
        try:
            socket.create_connection(("127.0.0.1", port), 1.0).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise AssertionError("the machine did not start")


def write(port: int, at: int, *values: int) -> None:
    """Change registers, as somebody at the machine does."""
    client = ModbusTcpClient("127.0.0.1", port=port)
    client.connect()
    assert not client.write_registers(at, list(values), device_id=1).isError()
    client.close()


def read(port: int, at: int, count: int) -> list[int]:
    """What registers hold."""
    client = ModbusTcpClient("127.0.0.1", port=port)
    client.connect()
    found = client.read_holding_registers(at, count=count, device_id=1).registers
    client.close()
    return list(found)


if __name__ == "__main__":
    main(int(sys.argv[1]))
