"""Guesses sent all at once count as so many guesses."""

import pytest
from django.db import transaction

from audit.capture.models import Entry
from audit.errors import Invalid, Refused
from people.persons.verbs import Verb
from people.signatures.models import Meaning, Signature
from people.signatures.signing import LIMIT, sign
from tests.cast import Cast, credentials
from tests.races import at_once


@pytest.mark.django_db(transaction=True)
def test_no_more_guesses_are_looked_at_than_the_limit(cast: Cast) -> None:
    def guess() -> Signature:
        with transaction.atomic():
            return sign(
                by=cast.owner,
                credentials=credentials(cast.owner, "wrong"),
                meaning=Meaning.POLICY_SET,
                digest="0" * 64,
                subject_type="policy",
                subject_id=1,
                verb=Verb.POLICY_SET,
            )

    told = at_once([guess] * 12)
    assert sum(isinstance(t, Invalid) for t in told) == LIMIT
    assert sum(isinstance(t, Refused) for t in told) == 12 - LIMIT
    # Each guess is in the history, though the signing around it was undone.
    assert Entry.objects.filter(action="signing.refused", actor="Owner").count() == LIMIT
