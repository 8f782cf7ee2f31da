"""The services of the default run: a database, a broker and our own processes, from wheels.

Nothing outside the virtual environment is needed. Start with `python -m config.services --help`.
"""
