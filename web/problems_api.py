"""What each `type` of a problem means."""

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from web.errors import KINDS, Kind


class KindOut(serializers.Serializer[Kind]):
    """One kind of problem."""

    type = serializers.CharField(source="uri")
    status = serializers.IntegerField()
    title = serializers.CharField()
    about = serializers.CharField()


class Problems(APIView):
    """The kinds of problem the API answers."""

    permission_classes = [AllowAny]

    @extend_schema(responses=KindOut(many=True))
    def get(self, request: Request) -> Response:
        """List them."""
        return Response([KindOut(kind).data for kind in KINDS])
