"""Approval: a second person signs exactly what they saw."""

from audit.context import recorded
from audit.errors import Refused
from people.models import Meaning, Policy, User
from people.signing import Credentials, sign
from people.verbs import Verb
from recipes import history
from recipes.actions.locking import advance, lock_recipe, lock_version, must_be, subject_of
from recipes.digest import content_digest
from recipes.models import Version

State = Version.State
SOLE_ROASTER = "sole-roaster policy"


def approve(*, by: User, version: Version, credentials: Credentials, seen_digest: str) -> Version:
    """Sign a version in review; the recipe's approved version so far becomes superseded.

    `seen_digest` is the content digest the signer was shown. Raises NotPermitted, Invalid for the
    password, and Refused if the version is not in review, is the signer's own work, moved since
    it was seen, or is older than one approved meanwhile.
    """
    with recorded(by=by, action=history.VERSION_APPROVED, subject=subject_of(version)) as recording:
        recipe = lock_recipe(version.recipe_id)
        now = lock_version(version, by, Verb.RECIPE_APPROVE)
        must_be(now, State.IN_REVIEW, to="approved")
        note = _four_eyes(now, by)
        _unmoved(now, seen_digest)
        _newest(now)
        signature = sign(
            by=by,
            credentials=credentials,
            meaning=Meaning.APPROVED,
            digest=now.content_digest,
            subject_type="version",
            subject_id=now.pk,
            verb=Verb.RECIPE_APPROVE,
            note=note,
        )
        recording.signed(signature.pk)
        _supersede(recipe.pk, by, now)
        with recorded(by=by, action=history.VERSION_APPROVED, reason=note):
            return advance(now, state=State.APPROVED, signature=signature)


def own_work(version: Version, user: User) -> bool:
    """Whether they drafted, last edited or requested it, and so may not approve it."""
    request = version.change_request
    asked_by = request.author_id if request else None
    return user.pk in {version.author_id, version.last_editor_id, asked_by}


def barred(version: Version, user: User) -> bool:
    """Whether they may not approve it as their own work, the owner's policy considered."""
    return own_work(version, user) and not Policy.current().sole_roaster


def _four_eyes(version: Version, by: User) -> str:
    """The signature's note. Raises Refused for one's own work unless the owner's policy allows."""
    if not own_work(version, by):
        return ""
    if Policy.current().sole_roaster:
        return SOLE_ROASTER
    raise Refused(
        "Nobody approves what they drafted, last edited or requested.",
        who_may="another head roaster",
        how_to_ask="Ask another head roaster to read it and sign.",
    )


def _unmoved(version: Version, seen_digest: str) -> None:
    if not version.content_digest == content_digest(version) == seen_digest.strip().lower():
        raise Refused(
            "The content moved: it is not what you were shown. Look at it again, then sign.",
            attempted={"content_digest": (version.content_digest, seen_digest[:64])},
        )


def _newest(version: Version) -> None:
    later = Version.objects.filter(recipe=version.recipe_id, number__gt=version.number)
    newer = later.filter(signature__isnull=False).first()
    if newer:
        raise Refused(
            f"Version {newer.number} was approved meanwhile: an older one can't take its place.",
            how_to_ask=f"Draft a new version from {version.number}, or withdraw this one.",
        )


def _supersede(recipe_id: int, by: User, newer: Version) -> None:
    reason = f"Version {newer.number} was approved."
    with recorded(by=by, action=history.VERSION_SUPERSEDED, reason=reason):
        # One withdrawn while we waited for its lock is no longer among them.
        current = Version.objects.approved().filter(recipe=recipe_id).order_by()
        for older in current.select_for_update():
            advance(older, state=State.SUPERSEDED)
