"""One line of the benchmark table, and the table itself."""

import json
import platform
import statistics
import time
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from pathlib import Path

import psutil
from django.db import connection


@dataclass(frozen=True)
class Measurement:
    """A rate, how many times slower it is than the limit, and than each peer (below 1: faster)."""

    name: str
    rate: float
    unit: str
    ratio_to_limit: float
    ratio_to_peers: dict[str, float] = field(default_factory=dict)
    machine: str = ""


def machine() -> str:
    """What it was measured on, without naming the machine."""
    cores = Path("/proc/cpuinfo").read_text(encoding="utf-8").count("processor\t")
    return f"{platform.machine()}, {cores} cores, Python {platform.python_version()}"


def line_of(row: dict[str, object]) -> Measurement:
    """A line from a row that holds rates only."""
    rate, limit, peers = row["rate"], row["limit_rate"], row["peers"]
    assert isinstance(rate, float)
    assert isinstance(limit, float)
    assert isinstance(peers, dict)
    ratios = {name: other / rate for name, other in peers.items()}
    return Measurement(str(row["name"]), rate, str(row["unit"]), limit / rate, ratios)


def seconds(task: Callable[[], object]) -> float:
    """How long one call takes."""
    start = time.perf_counter()
    task()
    return time.perf_counter() - start


def processor_seconds(task: Callable[[], object]) -> float:
    """Processor time [s] of one call, of this process and its database session, which works alone
    for it: on a machine that does other things as well, the clock says little."""
    with connection.cursor() as cursor:
        cursor.execute("SET max_parallel_workers_per_gather = 0")
        cursor.execute("SELECT pg_backend_pid()")
        session = psutil.Process(cursor.fetchone()[0])
    before = time.process_time() + sum(session.cpu_times()[:2])
    task()
    taken = time.process_time() + sum(session.cpu_times()[:2]) - before
    return max(taken, 0.001)  # sessions are counted in hundredths


def medians(*tasks: Callable[[], object], rounds: int = 3) -> list[float]:
    """Each task's median time [s], the tasks taking turns so that drift hits all alike."""
    taken: list[list[float]] = [[] for _ in tasks]
    for _ in range(rounds):
        for place, task in enumerate(tasks):
            taken[place].append(seconds(task))
    return [statistics.median(times) for times in taken]


def p95(task: Callable[[], object], calls: int) -> float:
    """The 95th percentile of a call's time [s], after one call that is not counted."""
    task()
    return statistics.quantiles([seconds(task) for _ in range(calls)], n=20)[-1]


def show(lines: Iterable[Measurement]) -> None:
    """Print the table."""
    print(f"{'what':<58}{'rate':>14} {'unit':<12}{'x limit':>9}  x peers")
    for line in lines:
        peers = ", ".join(f"{name} {ratio:.2f}" for name, ratio in line.ratio_to_peers.items())
        measured = f"{line.rate:>14,.1f} {line.unit:<12}{line.ratio_to_limit:>9.2f}"
        print(f"{line.name:<58}{measured}  {peers}")


def save(lines: Iterable[Measurement], path: Path) -> None:
    """Write the rows as JSON lines."""
    rows = [json.dumps(asdict(line), ensure_ascii=False) for line in lines]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
