"""What a page shows of packages above its own: its template asks for it here, by name."""

from django import template
from django.db.models import Prefetch
from django.template import Context

from people.persons.verbs import Verb
from recipes.appraisal.appraisal import Appraisal, appraise
from recipes.coffees.models import Coffee, Recipe
from recipes.formula.formula import Formula
from recipes.requests.evidence import said_of
from recipes.requests.models import ChangeRequest, RequestEvidence
from recipes.tastings.result import Evidence, evidence_of
from recipes.variants import showing
from recipes.variants.showing import Shown
from recipes.versions.models import Version
from recipes.versions.questions import Question, beside_variants, with_answers
from stations.equipment.models import Site

register = template.Library()


@register.simple_tag
def recipes_of(coffee: Coffee) -> list[Recipe]:
    """What is brewed of a coffee, each recipe with its `approved` version."""
    approved = Prefetch("versions", Version.objects.approved(), to_attr="approved")
    return list(coffee.recipes.prefetch_related(approved))


@register.simple_tag(takes_context=True)
def appraisal_of(context: Context, formula: Formula) -> Appraisal:
    """What follows from a formula, at the sites that the reader's roles cover."""
    sites = Site.objects.covered_by(context["request"].user, Verb.RECIPE_VIEW)
    return appraise(formula, sites)


@register.simple_tag(takes_context=True)
def questions_of(context: Context, version: Version, appraisal: Appraisal) -> list[Question]:
    """What is unusual of a version and its variants, each with the reason somebody gave."""
    user = context["request"].user
    return with_answers(version, beside_variants(version, appraisal.doubts, user))


@register.simple_tag
def variants_of(version: Version) -> list[Shown]:
    """What a version says to machine types of their own, beside the whole formula."""
    return showing.variants_of(version)


@register.simple_tag
def tasting_evidence(thing: ChangeRequest | Version) -> list[Evidence]:
    """The opened tastings attached to a change request or a version."""
    return evidence_of(thing)


@register.filter
def said(row: RequestEvidence) -> str:
    """What a request points to, in a line."""
    return said_of(row)
