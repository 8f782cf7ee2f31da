"""A run over the whole history ends, also where its answer cannot be kept."""

import pytest
from django.db import IntegrityError

from audit.checking.actions import CHECKS, start_check
from audit.checking.models import HistoryCheck
from audit.runs import ATTEMPTS
from tests.audit.sample import run
from tests.cast import Cast


@pytest.mark.django_db
@pytest.mark.parametrize(("before", "state"), [(0, "running"), (ATTEMPTS - 1, "stopped")])
def test_an_answer_that_cannot_be_kept_is_tried_so_often(
    cast: Cast, before: int, state: str
) -> None:
    made = start_check(by=cast.owner)
    run("UPDATE audit_historycheck SET attempts = %s", before)

    def unfit(_: HistoryCheck) -> dict[str, object]:
        return {"size": None}

    with pytest.raises(IntegrityError):
        CHECKS.run(made.pk, unfit)
    made.refresh_from_db()
    assert (made.state, made.attempts) == (state, before + 1)
