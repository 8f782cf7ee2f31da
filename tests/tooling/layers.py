"""No folder names an address or a table of a folder above it (`make check`).

Imports are checked by import-linter; a name in a string, in SQL or in a template it cannot see.
"""

import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import django

from tests.tooling.listing import ROOT, our_files

# The lowest first; each knows the addresses and tables of itself and of those before it.
LAYERS = ("audit", "web", "people", "stations", "recipes")
ADDRESS = re.compile(r"""["'](\w+?)(?:_api)?:[a-z_]+["' ]""")
WORD = re.compile(r"\b[a-z]+_[a-z]+\b")
# What entries were sealed with is read offline, where no registry can say it.
AS_SEALED = {
    Path("audit/ledger/bundle/signed.py"): {
        "people_signature",
        "people_assertion",
        "people_keyevent",
    },
    Path("audit/ledger/bundle/asked.py"): {"people_policy"},
}


def folder_of(path: Path) -> str:
    """The layer that a file belongs to; empty for what is no layer."""
    parts = path.parts
    name = parts[1] if parts[0] == "templates" and len(parts) > 1 else parts[0]
    return name if name in LAYERS else ""


def named_above(text: str, layer: str, tables: dict[str, str]) -> Iterator[tuple[int, str, str]]:
    """Line, layer and name of everything that the text names of a layer above its own."""
    above = LAYERS[LAYERS.index(layer) + 1 :]
    for number, line in enumerate(text.splitlines(), start=1):
        for found in ADDRESS.finditer(line):
            if found[1] in above:
                yield number, found[1], found[0].strip("\"' ")
        for word in WORD.findall(line):
            if tables.get(word) in above:
                yield number, tables[word], word


def tables_by_layer() -> dict[str, str]:
    """Every table of ours with the layer it belongs to."""
    from django.apps import apps  # noqa: PLC0415 - after django.setup()

    models = [model for name in LAYERS for model in apps.get_app_config(name).get_models()]
    return {model._meta.db_table: model._meta.app_label for model in models}


def found_in(path: Path, tables: dict[str, str]) -> Iterator[str]:
    """A sentence for each such name in a file."""
    layer = folder_of(path)
    if not layer or "migrations" in path.parts:
        return
    known = {name: above for name, above in tables.items() if name not in AS_SEALED.get(path, ())}
    for number, above, name in named_above((ROOT / path).read_text(), layer, known):
        yield f"{path}:{number}: {layer} names {name}, which belongs to {above}"


def main() -> int:
    """Print every such name; 1 when there is one."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    tables = tables_by_layer()
    files = [path.relative_to(ROOT) for path in our_files("*.py", "*.html", "*.sql")]
    found = [sentence for path in files for sentence in found_in(path, tables)]
    print("\n".join(found))
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
