"""Bundles: a history in one file that proves itself, without program or database.

JSON Lines. An object is an entry, byte for byte as sealed (RFC 8785); an array is one of

    ["history", {"format", "keys", "origin"}]   first line; keys as signed-note verifier keys;
                                                "checkpoints": "every" if none was left out
    ["fingerprints", first, base64]             leaf hashes of the entries just listed, joined
    ["archived", archive, first, base64]        leaf hashes of entries that are in an archive
    ["gap", first, count, base64]               entries left out: the subtrees that stand for them
    ["checkpoint", note, base64]                signed state of all before it, and its frontier
    ["end", size, entries, checkpoints]         last line

Entries count from 0 in the file and from 1 in words. The fingerprints say which entry differs; the
signed checkpoints say whether the fingerprints can be believed; the frontier beside a checkpoint
lets the check go on after damage, as its hashes fold to the signed root. An archive is a bundle of
one partition's entries; its record is an entry of the history it was taken from, see archived.py.
"""
