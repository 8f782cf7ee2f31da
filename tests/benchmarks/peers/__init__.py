"""The same table under each way of keeping a history, measured in one process of its own.

`python -m tests.benchmarks.peers` prints JSON lines. The peers are installed for this alone: the
product's settings know nothing of them.
"""
