"""Passkeys that sign: which key, since when, whose; what it answered, kept whole and checked."""
