"""The answer to a request reaches who asked, on their first page, until they have seen it."""

import pytest

from audit.capture.models import Entry
from audit.errors import NotPermitted, Stale
from people.persons.models import User
from recipes.overview.home import work_lists
from recipes.requests.actions import add_evidence
from recipes.requests.answered import see_answer, unseen_answers
from recipes.requests.decisions import ask_back, decline
from recipes.requests.evidence import Attached
from recipes.requests.models import AnswerSeen, ChangeRequest
from recipes.versions.models import Version
from stations.today.day import day_of
from tests.attacks import refused, sql
from tests.calling import act, etag
from tests.cast import ApiAs, Cast, SignedIn
from tests.recipes.shelf import ask


def told(user: User) -> list[str]:
    """What Today says of answers."""
    day = day_of(User.objects.get(pk=user.pk))
    return [need.words for one in day.sites for need in one.needs if "your request" in need.words]


@pytest.fixture
def declined(cast: Cast, approved: Version) -> ChangeRequest:
    request = ask(cast, approved)
    assert told(cast.shop_lead) == []
    return decline(
        by=cast.head_roaster, request=request, revision=request.revision, reason="Too cold"
    )


def test_it_is_told_until_it_is_seen(cast: Cast, declined: ChangeRequest) -> None:
    assert told(cast.shop_lead) == [f"{declined.base.recipe}: your request was declined"]
    assert told(cast.barista) == []
    see_answer(by=cast.shop_lead, request=declined, revision=declined.revision)
    assert told(cast.shop_lead) == []
    see_answer(by=cast.shop_lead, request=declined, revision=declined.revision)
    assert AnswerSeen.objects.count() == 1
    entry = Entry.objects.filter(table_name="recipes_answerseen").latest("id")
    assert (entry.action, entry.actor) == ("request.answer_seen", cast.shop_lead.name)


def test_a_question_seen_is_told_again_once_there_is_an_answer(
    cast: Cast, approved: Version
) -> None:
    request = ask(cast, approved)
    asked = ask_back(
        by=cast.head_roaster, request=request, revision=request.revision, reason="Which?"
    )
    see_answer(by=cast.shop_lead, request=asked, revision=asked.revision)
    done = decline(by=cast.head_roaster, request=asked, revision=asked.revision, reason="No")
    assert list(unseen_answers(cast.shop_lead)) == [done]
    with pytest.raises(Stale):
        see_answer(by=cast.shop_lead, request=done, revision=asked.revision)


def test_a_question_seen_is_not_told_again_when_evidence_is_attached(
    cast: Cast, approved: Version
) -> None:
    request = ask(cast, approved)
    asked = ask_back(
        by=cast.head_roaster, request=request, revision=request.revision, reason="Which?"
    )
    see_answer(by=cast.shop_lead, request=asked, revision=asked.revision)
    more = add_evidence(
        by=cast.shop_lead, request=asked, revision=asked.revision, attached=Attached()
    )
    assert more.state == "asked_back"
    assert told(cast.shop_lead) == []


def test_only_who_asked_says_so(cast: Cast, declined: ChangeRequest) -> None:
    for person in (cast.barista, cast.head_roaster, cast.other_lead):
        with pytest.raises(NotPermitted):
            see_answer(by=person, request=declined, revision=declined.revision)


def test_a_head_roaster_who_asks_is_told_at_home(cast: Cast, declined: ChangeRequest) -> None:
    titles = [one.title for one in work_lists(cast.shop_lead) if one.items]
    assert titles == ["Your requests answered"]
    assert [one.title for one in work_lists(cast.shop_lead, told=True) if one.items] == []


def test_the_database_keeps_to_it(cast: Cast, declined: ChangeRequest) -> None:
    see_answer(by=cast.shop_lead, request=declined, revision=declined.revision)
    refused(sql("UPDATE recipes_answerseen SET revision = 1"), "never changed")
    refused(sql("DELETE FROM recipes_answerseen"), "never changed")


def test_page_and_endpoint(
    cast: Cast, declined: ChangeRequest, signed_in: SignedIn, api_as: ApiAs
) -> None:
    lead, address = signed_in(cast.shop_lead), declined.get_absolute_url()
    assert address in lead.get("/").content.decode()
    assert "I have seen the answer" in lead.get(address).content.decode()
    assert "I have seen" not in signed_in(cast.head_roaster).get(address).content.decode()
    sent = {"revision": declined.revision}
    assert signed_in(cast.shop_lead).post(f"{address}seen/", sent)["Location"] == "/"
    assert address not in lead.get("/").content.decode()
    api, path = api_as(cast.shop_lead), f"change-requests/{declined.pk}/"
    assert act(api, f"{path}seen/", if_match=etag(api, path)).status_code == 200
