"""Values in 16-bit registers: types, scaling, the order of words, and runs of neighbours."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Literal

from pymodbus.client.mixin import ModbusClientMixin

from gateway.driver import DriverError, RefusedError
from gateway.ranges import Amount

CODE = ModbusClientMixin[None]
MOST = 120  # registers in one request
DIGITS = 7  # that a 32-bit float carries (IEEE 754: 24 bits)


class Kind(StrEnum):
    """How a number lies in registers."""

    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"
    FLOAT32 = "float32"

    @property
    def data_type(self) -> ModbusClientMixin.DATATYPE:
        """As the library names it."""
        return ModbusClientMixin.DATATYPE.__members__[self.name]

    @property
    def size(self) -> int:
        """Registers that it takes."""
        return 2 if self.value.endswith("32") else 1

    @property
    def bounds(self) -> tuple[int, int]:
        """The smallest and the largest whole number."""
        bits = 16 * self.size
        if self.value.startswith("u"):
            return 0, 2**bits - 1
        return -(2 ** (bits - 1)), 2 ** (bits - 1) - 1


@dataclass(frozen=True)
class Register:
    """Where one value lies: ``scale`` is what one step of it is worth, in ``unit`` (UCUM).

    ``words`` are what a setting that is a word can be, by the number that stands for it. ``absent``
    is the number that says that there is no such setting.
    """

    at: int
    kind: Kind = Kind.UINT16
    scale: Decimal = Decimal(1)
    unit: str = ""
    word_order: Literal["big", "little"] = "big"
    read: int = 3
    write: int = 0  # never written
    words: Mapping[str, int] = field(default_factory=dict)
    absent: int | None = None

    @property
    def place(self) -> range:
        """The registers it takes."""
        return range(self.at, self.at + self.kind.size)

    def shifted(self, by: int) -> "Register":
        """The same, so many registers further on."""
        return Register(**{**vars(self), "at": self.at + by})

    def number(self, registers: Sequence[int]) -> int:
        """How many steps these registers say, the nearest. Raises DriverError: no number."""
        order = self.word_order
        raw = CODE.convert_from_registers(list(registers), self.kind.data_type, order)
        if not isinstance(raw, int | float):
            raise TypeError("registers of a number")
        if not math.isfinite(raw):
            raise DriverError(f"registers {self.place} hold no number: {raw}")
        if self.kind is Kind.FLOAT32:
            return round(Decimal(repr(raw)) / self.scale)
        return int(raw)

    def value(self, registers: Sequence[int]) -> Decimal:
        """What these registers say, also a float that lies between two steps."""
        value = self.number(registers) * self.scale
        if self.kind is not Kind.FLOAT32 or self._raw(float(value)) == list(registers):
            return value
        raw = CODE.convert_from_registers(list(registers), self.kind.data_type, self.word_order)
        return Decimal(format(raw, f".{DIGITS}g"))

    def _raw(self, number: float) -> list[int]:
        return CODE.convert_to_registers(number, self.kind.data_type, self.word_order)

    def amount(self, registers: Sequence[int]) -> Amount | None:
        """What these registers say; None where they say that there is nothing."""
        number = self.number(registers)
        if self.absent is not None and number == self.absent:
            return None
        if self.words:
            known = {each: word for word, each in self.words.items()}
            return Amount(known.get(number, str(number)))
        return Amount(format(self.value(registers), "f"), self.unit)

    def registers(self, amount: Amount | None) -> list[int]:
        """The registers that say this. Raises RefusedError where none do exactly."""
        number = self._steps(amount)
        low, high = self.kind.bounds
        if not low <= number <= high:
            raise RefusedError(f"{amount} does not fit into {self.kind}")
        return self._raw(float(number * self.scale) if self.kind is Kind.FLOAT32 else number)

    def _steps(self, amount: Amount | None) -> int:
        if amount is None:
            if self.absent is None:
                raise RefusedError("this setting cannot be left out")
            return self.absent
        if self.words:
            if amount.value not in self.words:
                raise RefusedError(f"{amount.value}: allowed are {', '.join(self.words)}")
            return self.words[amount.value]
        steps = (amount.number or Decimal(0)) / self.scale
        if amount.number is None or amount.unit != self.unit or steps != int(steps):
            raise RefusedError(
                f"{amount.value} {amount.unit} is no step of {self.scale} {self.unit}"
            )
        return int(steps)


def runs(places: Iterable[int]) -> Iterator[range]:
    """Neighbouring registers together, as many as one request takes."""
    first = last = None
    for place in sorted(set(places)):
        if first is None or last is None:
            first = last = place
        elif place == last + 1 and place - first < MOST:
            last = place
        else:
            yield range(first, last + 1)
            first = last = place
    if first is not None and last is not None:
        yield range(first, last + 1)
