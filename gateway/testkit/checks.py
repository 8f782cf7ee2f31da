"""The checks: each yields a sentence for whatever it finds, and nothing where all is well."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from itertools import pairwise

from gateway.driver import MOST_NAME, Driver, DriverError, Equipped, Place, Shot
from gateway.ranges import (
    CODES,
    ENDINGS,
    ENDS_BY,
    RANGES,
    Amount,
    Range,
    Settings,
    differences,
    outside,
)

STREAM = 20  # answers of the stream that are listened to at most


@dataclass(frozen=True)
class Subject:
    """A driver, a slot of it that may be overwritten, and what it says of the slot's station."""

    driver: Driver
    place: Place
    station: Equipped

    @property
    def fullest(self) -> Settings:
        """Every setting there is, each at its lowest."""
        return self.at(lambda each: each.low)

    def at(self, choose: Callable[[Range], Decimal]) -> dict[str, Amount]:
        """Every setting at a point of its range, and the first ending."""
        found = {
            code: Amount(str(choose(each)), each.unit)
            for code, each in self.station.settings.items()
        }
        if self.station.endings:
            found[ENDS_BY] = Amount(self.station.endings[0])
        return found


Check = Callable[[Subject], Iterator[str]]


def describes(subject: Subject) -> Iterator[str]:
    """Stations once each, with settings that exist, within hard ranges."""
    told = subject.driver.describe()
    if not told.name or not told.version or len(f"{told.name} {told.version}") > MOST_NAME:
        yield f"name and version are needed, of {MOST_NAME} characters at most together"
    places = [each.at for each in told.stations]
    yield from (f"station {at} is described twice" for at in set(places) if places.count(at) > 1)
    for each in told.stations:
        if not each.slots or min(each.slots) < 1 or len(set(each.slots)) < len(each.slots):
            yield f"station {each.at}: slots are numbered from 1, each once"
        for code, able in each.settings.items():
            hard = RANGES.get(code)
            if hard is None:
                yield f"{code} is no setting of a slot; allowed: {', '.join(CODES)}"
            elif able.unit != hard.unit or not hard.low <= able.low <= able.high <= hard.high:
                yield f"{code} can be {able}; allowed: {hard}"
        if unknown := set(each.endings) - set(ENDINGS):
            yield f"ends_by can be {', '.join(sorted(unknown))}; allowed: {', '.join(ENDINGS)}"
    if [each.at for each in subject.driver.describe().stations] != places:
        yield "describe() names other stations the second time"


def reads(subject: Subject) -> Iterator[str]:
    """A slot says settings that exist, in their units, and the same when it is asked again."""
    found = subject.driver.read_back(subject.place)
    for code, amount in found.items():
        if code == ENDS_BY:
            continue
        if code not in RANGES:
            yield f"{code} is read back and is no setting of a slot"
        elif amount.number is None or amount.unit != RANGES[code].unit:
            yield f"{code} is read back as {amount.value} {amount.unit}, not in {RANGES[code].unit}"
    yield from differences(found, subject.driver.read_back(subject.place))


def knows_its_slots(subject: Subject) -> Iterator[str]:
    """A slot that is not there is an error, for reading and for loading."""
    at = subject.place
    nowhere = Place(at.machine, at.station, max(subject.station.slots) + 1)
    for name, call in (
        ("read_back", lambda: subject.driver.read_back(nowhere)),
        ("load", lambda: subject.driver.load(nowhere, subject.fullest)),
    ):
        if not _refuses(call):
            yield f"{name} of slot {nowhere}, which is not there, raised no DriverError"


def loads(subject: Subject) -> Iterator[str]:
    """What is loaded is read back exactly: lowest, highest, every ending; twice is as once."""
    tried = [subject.at(lambda each: each.low), subject.at(lambda each: each.high)]
    tried += [{**tried[0], ENDS_BY: Amount(word)} for word in subject.station.endings]
    for settings in tried:
        for _ in range(2):
            subject.driver.load(subject.place, settings)
            found = subject.driver.read_back(subject.place)
            yield from (f"after loading, {each}" for each in differences(settings, found))


def refuses(subject: Subject) -> Iterator[str]:
    """What the machine cannot hold raises RefusedError, and the slot is as it was."""
    subject.driver.load(subject.place, subject.fullest)
    before = subject.driver.read_back(subject.place)
    for name, amount in _too_much(subject.station.settings):
        settings = {**subject.at(lambda each: each.high), name: amount}
        if not _refuses(lambda told=settings: subject.driver.load(subject.place, told)):  # type: ignore[misc]
            yield f"{name} of {amount.value} {amount.unit} was taken"
        found = subject.driver.read_back(subject.place)
        yield from (f"after refusing {name}, {each}" for each in differences(before, found))


def keeps_to_its_slot(subject: Subject) -> Iterator[str]:
    """Loading one slot leaves the others of its station as they are."""
    at = subject.place
    others = [
        Place(at.machine, at.station, number)
        for number in subject.station.slots
        if number != at.number
    ]
    before = {each: subject.driver.read_back(each) for each in others}
    subject.driver.load(at, subject.at(lambda each: each.high))
    for each in others:
        found = subject.driver.read_back(each)
        yield from (f"slot {each}: {words}" for words in differences(before[each], found))


def streams(subject: Subject) -> Iterator[str]:
    """The stream answers again and again, with whole shots, and goes on after a mark."""
    shots: list[Shot] = []
    stream = subject.driver.shots({})
    for _ in range(STREAM):
        shot = next(stream, StopIteration)
        if shot is StopIteration:
            yield "the stream of shots ended; it goes on for ever, with None while there is none"
            return
        if isinstance(shot, Shot):
            shots.append(shot)
            yield from shot_faults(shot)
    marks = [(shot.place.at, shot.mark) for shot in shots]
    yield from (f"mark {each} came twice" for each in set(marks) if marks.count(each) > 1)
    if shots:
        first = shots[0]
        stream = subject.driver.shots({first.place.at: first.mark})
        after = [next(stream, None) for _ in range(STREAM)]
        if any(each and (each.place.at, each.mark) == marks[0] for each in after):
            yield f"after mark {first.mark}, its own shot came again"


def shot_faults(shot: Shot) -> Iterator[str]:
    """What is wrong with one shot."""
    if not shot.mark:
        yield "a shot has no mark"
    if shot.pulled_at.utcoffset() is None:
        yield "pulled_at has no time zone"
    elif shot.pulled_at.utcoffset() == timedelta() and shot.pulled_at.year < 2020:
        yield f"pulled_at is {shot.pulled_at}: is the clock of the box right?"
    figures = (shot.shot_time, shot.dose_mass, shot.beverage_mass, shot.water_volume)
    if not all(isinstance(each, Decimal | None) for each in (*figures, shot.brew_temperature)):
        yield "figures of a shot are exact decimals (decimal.Decimal)"
    if shot.trace:
        t = list(shot.trace.t)
        if any(later <= earlier for earlier, later in pairwise(t)):
            yield "the moments of a trace do not rise"
        channels = (shot.trace.pressure, shot.trace.flow, shot.trace.mass, shot.trace.temperature)
        if any(each and len(each) != len(t) for each in channels):
            yield "a trace has arrays of another length than t"


CHECKS: Mapping[str, Check] = {
    "describes": describes,
    "reads": reads,
    "knows its slots": knows_its_slots,
    "loads": loads,
    "refuses": refuses,
    "keeps to its slot": keeps_to_its_slot,
    "streams": streams,
}


def _too_much(settings: Mapping[str, Range]) -> Iterator[tuple[str, Amount]]:
    for code, each in settings.items():
        step = max(each.high - each.low, Decimal(1))
        yield code, Amount(str(each.high + step), each.unit)
        yield code, Amount("NaN", each.unit)
        yield code, Amount(str(each.low), "1/min")
    yield "boiler_pressure", Amount("1", "bar")
    yield ENDS_BY, Amount("never")


def _refuses(call: Callable[[], object]) -> bool:
    try:
        call()
    except DriverError:
        return True
    return False


def loadable(settings: Settings) -> bool:
    """Whether a slot that held this can be put back."""
    return bool(settings) and not list(outside(settings))
