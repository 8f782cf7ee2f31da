"""A variant as a form: the parameters of a formula, as they were seen at a revision."""

from recipes.formula.forms import FormulaForm
from web.fields import SeenRevision


class VariantForm(FormulaForm):
    """What a draft says to machines of one type."""

    revision = SeenRevision()
