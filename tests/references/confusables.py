"""People's names: the table of look-alikes, worked out from the library that carries Unicode's.

Run as a module it writes people/persons/confusables.json. That is done once a version of Unicode,
with a migration that puts the table into the database; the library is needed for nothing else.
"""

import json
import unicodedata
from collections import defaultdict

from confusable_homoglyphs.confusables import confusables_data

from people.persons.likeness import CONFUSABLES

MARKS = "\u200e\u200f"  # what the file puts around letters written from right to left


def prototypes() -> dict[str, str]:
    """Each character and what stands for all that look like it (UTS 39, section 4).

    The library tells pairs without their direction: every set of look-alikes is a star around its
    prototype, so that is who has most neighbours; of two alone, the text of several characters, or
    else the lower code point, which serves as well. Only what normalization (NFKC, then NFD)
    leaves is listed.
    """
    near: dict[str, set[str]] = defaultdict(set)
    for sign, others in confusables_data.items():
        for other in others:
            near[_bare(sign)].add(_bare(other["c"]))
    stands = {sign: _prototype(sign, near) for sign in near}
    resolved = {sign: "".join(stands.get(each, each) for each in to) for sign, to in stands.items()}
    return {
        sign: to
        for sign, to in sorted(resolved.items())
        if len(sign) == 1 and to != sign and _left(sign) == sign
    }


def _bare(text: str) -> str:
    return text.strip(MARKS)


def _prototype(sign: str, near: dict[str, set[str]]) -> str:
    alike = {sign, *near[sign]}
    most = max(len(near[each]) for each in alike)
    hubs = [each for each in alike if len(near[each]) == most]
    return min(hubs, key=lambda each: (-len(each), each))


def _left(sign: str) -> str:
    return unicodedata.normalize("NFD", unicodedata.normalize("NFKC", sign))


if __name__ == "__main__":
    CONFUSABLES.write_text(json.dumps(prototypes(), separators=(",", ":")) + "\n")
