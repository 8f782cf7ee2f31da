"""Files that are there whole or not at all, whatever happens to the process or the machine."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterable
from pathlib import Path

NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL


def write_whole(file: Path, parts: Iterable[bytes], *, anew: bool = False) -> None:
    """Write a file of this user's alone under another name, and name it once it is on the disk.

    `anew`: there must be none yet. On return the folder knows the name too. Raises OSError, and
    FileExistsError where somebody else was first; what `parts` raises passes through. A killed run
    may leave its draft, named as the file with an ending of its own.
    """
    draft = file.with_name(f"{file.name}.{secrets.token_hex(4)}.part")
    try:
        with os.fdopen(os.open(draft, NEW, 0o600), "wb") as out:
            out.writelines(parts)
            out.flush()
            os.fsync(out.fileno())
        if anew:
            os.link(draft, file)
        else:
            draft.replace(file)
        settle(file.parent)
    finally:
        draft.unlink(missing_ok=True)


def settle(folder: Path) -> None:
    """Wait until the folder's names are on the disk. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
