"""Endpoints: a site's tablets, what its owner allows, and taking somebody's PIN away."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from people.persons.api import PeopleView
from people.persons.models import all_sites
from people.persons.verbs import Verb
from people.pins.actions import remove_pin
from people.tablets.actions import add_tablet, rename_tablet, revoke_tablet, set_tablet_policy
from people.tablets.models import NAME_LENGTH, Shown, Tablet, TabletPolicy
from web.api import GuardedView, Listing, listed, person, valid
from web.etags import expected_revision, matching, tagged
from web.idempotency import acting, acting_hiding
from web.lookup import one_or_404


class TabletOut(serializers.ModelSerializer[Tablet]):
    """A tablet, never its key."""

    state = serializers.CharField(read_only=True)
    made_by = serializers.CharField(source="made_by.name", read_only=True)

    class Meta:
        """What is shown."""

        model = Tablet
        fields = [
            "id", "name", "state", "made_by", "created_at", "enrolled_at", "seen_at", "copied_at",
            "revoked_at", "revision",
        ]  # fmt: skip


class NewTabletOut(TabletOut):
    """A tablet to be enrolled, with the code that is shown this once."""

    code = serializers.CharField(read_only=True)

    class Meta(TabletOut.Meta):
        """The same and the code."""

        fields = [*TabletOut.Meta.fields, "code"]


class TabletIn(serializers.Serializer[dict[str, Any]]):
    """Its name."""

    name = serializers.CharField(max_length=NAME_LENGTH)


def _site_id(request: Request, code: str, verb: Verb) -> int:
    """The site, for people whose roles cover it. Raises Http404."""
    sites = all_sites().covered_by(person(request), verb)  # type: ignore[attr-defined]
    found: int = one_or_404(sites, code=code).pk
    return found


class Tablets(Listing):
    """A site's tablets."""

    verb = Verb.TABLET_ENROL
    in_person = True

    @extend_schema(responses=TabletOut(many=True))
    def get(self, request: Request, code: str) -> Response:
        """List them, newest first."""
        here = Tablet.objects.filter(site_id=_site_id(request, code, self.verb))
        return listed(self, here.select_related("made_by"), TabletOut)

    @extend_schema(request=TabletIn, responses={201: NewTabletOut})
    @acting_hiding("code")
    def post(self, request: Request, code: str) -> Response:
        """Make one, and a code that enrols it once, within ten minutes."""
        site_id = _site_id(request, code, self.verb)
        made, secret = add_tablet(by=person(request), site_id=site_id, **valid(TabletIn, request))
        made.refresh_from_db()
        made.code = secret  # type: ignore[attr-defined]
        return Response(NewTabletOut(made).data, status=201)


class OneTablet(GuardedView):
    """One tablet."""

    verb = Verb.TABLET_ENROL
    in_person = True

    def tablet(self, request: Request, pk: int) -> Tablet:
        """The tablet. Raises Http404."""
        rows = Tablet.objects.covered_by(person(request)).select_related("made_by")
        return one_or_404(rows, pk)

    @extend_schema(responses=TabletOut)
    def get(self, request: Request, pk: int) -> Response:
        """Read it."""
        shown = self.tablet(request, pk)
        return tagged(request, shown, TabletOut(shown).data)

    @extend_schema(request=TabletIn, responses=TabletOut)
    @matching
    def put(self, request: Request, pk: int) -> Response:
        """Rename it."""
        shown, body = self.tablet(request, pk), valid(TabletIn, request)
        revision = expected_revision(request, shown)
        rename_tablet(by=person(request), tablet=shown, revision=revision, **body)
        return tagged(request, shown, TabletOut(shown).data)


class TabletRevocation(OneTablet):
    """The end of a tablet."""

    http_method_names = ["post", "options"]

    @extend_schema(request=None, responses=TabletOut)
    @acting
    @matching
    def post(self, request: Request, pk: int) -> Response:
        """Revoke it at once, with all that is open on it."""
        shown = self.tablet(request, pk)
        revision = expected_revision(request, shown)
        revoke_tablet(by=person(request), tablet=shown, revision=revision)
        return tagged(request, shown, TabletOut(shown).data)


class TabletPolicyOut(serializers.ModelSerializer[TabletPolicy]):
    """Minutes until a tablet returns to the choice of people, and what codes show to anybody."""

    class Meta:
        """What is shown."""

        model = TabletPolicy
        fields = ["idle_minutes", "shown", "shown_on_tablet", "revision"]


class TabletPolicyIn(serializers.Serializer[dict[str, Any]]):
    """What to allow from now on."""

    idle_minutes = serializers.IntegerField(min_value=1, max_value=60)
    shown = serializers.ChoiceField(choices=Shown.choices)
    shown_on_tablet = serializers.ChoiceField(choices=Shown.choices)


class TabletPolicyView(GuardedView):
    """What a site's owner allows."""

    verb = Verb.TABLET_ENROL
    acting_verb = Verb.POLICY_SET
    in_person = True

    @extend_schema(responses=TabletPolicyOut)
    def get(self, request: Request, code: str) -> Response:
        """Read it."""
        policy = TabletPolicy.at(_site_id(request, code, self.verb))
        return tagged(request, policy, TabletPolicyOut(policy).data)

    @extend_schema(request=TabletPolicyIn, responses=TabletPolicyOut)
    @matching
    def put(self, request: Request, code: str) -> Response:
        """Set it."""
        site_id = _site_id(request, code, Verb.POLICY_SET)
        revision = expected_revision(request, TabletPolicy.at(site_id))
        body = valid(TabletPolicyIn, request)
        policy = set_tablet_policy(by=person(request), site_id=site_id, revision=revision, **body)
        return tagged(request, policy, TabletPolicyOut(policy).data)


class PinRemoval(PeopleView):
    """Somebody's PIN."""

    acting_everywhere = True
    http_method_names = ["delete", "options"]

    @extend_schema(responses={204: None})
    def delete(self, request: Request, pk: int) -> Response:
        """Take it away; what is open by it ends."""
        remove_pin(by=person(request), person=self.someone(pk))
        return Response(status=204)
