"""Reconciliation: the history replayed and compared with every governed table, both ways.

What the tables hold is compared with what the last entries say of each row and column, in the
database, in one snapshot, by the very SQL with which the triggers spell values. Rows that stood
before their history began are written down as they stood (`baseline`), so that nothing is left out.
"""
