"""The owner's policy, as tests need it."""

from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from tests.cast import Cast, credentials


def allow_sole_roaster(cast: Cast, *, on: bool = True) -> None:
    """Let a head roaster approve their own drafts, or no longer."""
    set_policy(
        by=cast.owner,
        revision=Policy.current().revision,
        sole_roaster=on,
        boiling=Boiling.ACKNOWLEDGE,
        credentials=credentials(cast.owner),
    )
