"""The columns of the file, and an example of it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its header, what stands in it, and whether the file must have it."""

    name: str
    about: str
    needed: bool = True


COLUMNS = (
    Column("site_code", "the site's code in addresses: small letters, digits and hyphens"),
    Column("site_name", "the site's name; may be empty once the site is known"),
    Column("time_zone", "IANA name, such as Europe/Lisbon; may be empty once the site is known"),
    Column("altitude_m", "metres above sea level; may be empty once the site is known"),
    Column("machine", "the machine's name within its site"),
    Column("abilities", "the name of its abilities, entered before; may be empty once known"),
    Column("station", "the number of the brewing group, from 1"),
    Column("slots", "how many slots the station has, from 1 to 32"),
    Column("pulses_per_ml", "flow-meter pulses per mL; empty: not measured", needed=False),
    Column("temperature_offset_c", "°C measured minus °C set; empty: not measured", needed=False),
)
NAMES = tuple(column.name for column in COLUMNS)
NEEDED = tuple(column.name for column in COLUMNS if column.needed)

EXAMPLE = (
    ",".join(NAMES) + "\r\n"
    "harbour,Harbour,Europe/Lisbon,12,Left machine,Two boilers,1,4,4.02,-0.4\r\n"
    "harbour,,,,Left machine,,2,4,3.97,\r\n"
    "hill,Hill,America/Bogota,2640,Main machine,Two boilers,1,4,,\r\n"
)
