"""What of versions is worth hearing of: one to approve."""

from collections.abc import Iterable
from textwrap import shorten

from people.notices.kinds import Found, Kind, register_kind
from people.persons.verbs import Verb
from people.policy.models import Policy
from recipes.versions.models import Version

LENGTH = 300  # characters of a note


def to_approve() -> Iterable[Found]:
    """For whoever may sign it: not who wrote or asked for it, but where one roaster does all."""
    alone = Policy.current().sole_roaster
    for version in Version.objects.in_review().with_recipe():
        asked = version.change_request.author_id if version.change_request else version.author_id
        own = {version.author_id, version.last_editor_id, asked}
        yield Found(
            key=f"{version.pk}:{version.content_digest[:12]}",
            title=f"To approve: {version}, by {version.author}",
            words=shorten(version.note, LENGTH, placeholder="…"),
            url=version.get_absolute_url(),
            not_for=() if alone else tuple(sorted(own)),
        )


def register() -> None:
    """Called once, when the program starts."""
    register_kind(
        Kind("version", "A version to approve", Verb.RECIPE_APPROVE, to_approve, "recipes:version")
    )
