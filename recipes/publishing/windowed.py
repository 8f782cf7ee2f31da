"""Which of a publication's sites are shown: of a chain of bars, those where something is left."""

from collections.abc import Sequence

from recipes.publishing.models import PublicationSite

SITES = 60  # of more, the first: nobody reads on, and each costs what the first one does


def has_left(part: PublicationSite) -> bool:
    """Whether something is still to happen there, or was refused."""
    return bool(part.left or part.unloaded or part.refusals)


def window(parts: Sequence[PublicationSite], name: str = "") -> list[PublicationSite]:
    """Those whose name has this in it, in their order; of too many, where something is left."""
    asked = name.strip().casefold()
    fitting = [part for part in parts if asked in part.site.name.casefold()]
    if len(fitting) <= SITES:
        return fitting
    kept = sorted(fitting, key=lambda part: not has_left(part))[:SITES]
    first = {part.pk for part in kept}
    return [part for part in fitting if part.pk in first]
