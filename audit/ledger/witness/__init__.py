"""An independent witness of a history: it cosigns a checkpoint only if that extends the last one.

C2SP tlog-witness (the protocol) and tlog-cosignature (the signature). Needs neither Django nor a
database, and runs best where nobody of the history's own server can reach its folder.
"""
