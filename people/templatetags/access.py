"""Somebody's sessions, factors and tokens, on the page about them."""

from django import template
from django.template.context import RequestContext

from people.persons.models import User
from people.sign_in.access import access_of
from people.sign_in.sessions import here_of
from people.sign_in.single import single_sign_on

register = template.Library()
register.simple_tag(single_sign_on, name="single_sign_on")


@register.inclusion_tag("people/sign_in/partials/access.html", takes_context=True)
def access(context: RequestContext, person: User) -> dict[str, object]:
    """Read when it is drawn: four queries."""
    request = context["request"]
    return {
        "access": access_of(person),
        "person": person,
        "here": here_of(request),
        "own": False,
        "csrf_token": context.get("csrf_token"),
    }
