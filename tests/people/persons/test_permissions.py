"""Who may do what, where: the table, and how site-bound roles count."""

import pytest

from audit.errors import NotPermitted, Subject
from people.persons.actions import assign_role
from people.persons.permissions import (
    covered_sites,
    may,
    require,
    require_everywhere,
)
from people.persons.verbs import MAY, WORDS, Role, Verb, roles_at, roles_for
from tests.cast import Cast

# Written out by hand, so that a slip in the table is seen: the roles that may.
EXPECTED: dict[Role, str] = {
    Role.HEAD_ROASTER: """recipe.view recipe.draft recipe.submit recipe.return recipe.approve
        recipe.withdraw coffee.edit publication.plan publication.sign publication.stop permit.grant
        permit.end request.make request.decide tasting.run model.fit slot.view slot.read_back
        slot.set_by_hand equipment.view equipment.edit equipment.import calibration.record shot.log
        grinder.set lot.open token.make gateway.fetch gateway.report site.edit opening.set
        handover.write recipe.history finding.answer""",
    Role.SHOP_LEAD: """recipe.view request.make tasting.run model.fit slot.view slot.read_back
        slot.set_by_hand equipment.view shot.log grinder.set lot.open token.make gateway.fetch
        gateway.report gateway.enrol tablet.enrol opening.set handover.write
        finding.answer""",
    Role.BARISTA: """recipe.view slot.view equipment.view shot.log grinder.set lot.open token.make
        handover.write""",
    Role.TECHNICIAN: """recipe.view slot.view equipment.view calibration.record grinder.set
        token.make gateway.fetch gateway.report equipment.edit equipment.import handover.write
        finding.answer""",
    Role.OWNER: """recipe.view slot.view equipment.view equipment.edit equipment.import
        history.view policy.set people.manage token.make gateway.fetch gateway.report
        gateway.enrol tablet.enrol site.edit opening.set handover.write recipe.history""",
}


@pytest.mark.parametrize("role", Role)
def test_each_role_may_exactly_what_is_written_here(role: Role) -> None:
    assert {str(verb) for verb in Verb if role in MAY[verb]} == set(EXPECTED[role].split())


def test_every_verb_has_a_line_and_words() -> None:
    assert set(MAY) == set(WORDS) == set(Verb)


def test_roles_are_named_as_a_sentence_would() -> None:
    assert roles_for(Verb.RECIPE_APPROVE) == "a head roaster"
    assert roles_for(Verb.SITE_EDIT) == "a head roaster or an owner"
    assert roles_for(Verb.EQUIPMENT_EDIT) == "a head roaster, a technician or an owner"
    assert roles_for(Verb.SHOT_LOG) == "a head roaster, a shop lead or a barista"


def test_a_role_at_one_site_counts_there_only(cast: Cast) -> None:
    assert may(cast.shop_lead, Verb.SLOT_READ_BACK, cast.site.pk)
    assert not may(cast.shop_lead, Verb.SLOT_READ_BACK, cast.other_site.pk)
    assert may(cast.shop_lead, Verb.SLOT_READ_BACK)
    assert covered_sites(cast.shop_lead, Verb.SLOT_READ_BACK) == frozenset({cast.site.pk})


def test_a_role_for_all_sites_counts_everywhere(cast: Cast) -> None:
    assert may(cast.technician, Verb.CALIBRATION_RECORD, cast.other_site.pk)
    assert covered_sites(cast.technician, Verb.CALIBRATION_RECORD) is None
    assert covered_sites(cast.technician, Verb.RECIPE_DRAFT) == frozenset()


def test_a_refusal_says_who_may_and_how_to_ask(cast: Cast) -> None:
    subject = Subject("slot", 3, "Slot 3")
    with pytest.raises(NotPermitted) as refused:
        require(cast.barista, Verb.SLOT_READ_BACK, cast.site.pk, subject)
    assert refused.value.message == "Your roles do not allow “record a read-back” there."
    assert refused.value.who_may == "a head roaster or a shop lead"
    assert refused.value.how_to_ask
    assert (refused.value.subject, refused.value.site_id) == (subject, cast.site.pk)


def test_what_concerns_all_sites_needs_a_role_for_all_sites(cast: Cast) -> None:
    assign_role(by=None, person=cast.barista, role=Role.OWNER, site_id=cast.site.pk)
    assert require(cast.barista, Verb.PEOPLE_MANAGE) is Role.OWNER
    with pytest.raises(NotPermitted, match="for all sites"):
        require_everywhere(cast.barista, Verb.PEOPLE_MANAGE)


def test_the_role_used_is_the_first_of_the_table_that_allows_it(cast: Cast) -> None:
    assign_role(by=None, person=cast.owner, role=Role.SHOP_LEAD, site_id=cast.site.pk)
    assert require(cast.owner, Verb.GATEWAY_FETCH, cast.site.pk) is Role.SHOP_LEAD
    assert require(cast.owner, Verb.GATEWAY_FETCH, cast.other_site.pk) is Role.OWNER
    assert roles_at(cast.owner.roles_held(anew=True), cast.site.pk) == [Role.SHOP_LEAD, Role.OWNER]


def test_somebody_deactivated_may_nothing_at_once(cast: Cast) -> None:
    type(cast.barista).objects.filter(pk=cast.barista.pk).update(is_active=False)
    with pytest.raises(NotPermitted):
        require(cast.barista, Verb.SLOT_VIEW)


def test_django_asks_by_its_own_names_and_gets_the_same_answer(cast: Cast) -> None:
    assert cast.owner.has_perm("audit.view_entry")
    assert not cast.head_roaster.has_perm("audit.view_entry")
    assert not cast.owner.has_perm("no.such_right")
    assert cast.owner.history_sites() is None
    assert cast.shop_lead.history_sites() == frozenset()
