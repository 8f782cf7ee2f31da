"""Forms drawn with templates/forms/: label, hint, error and field tied together."""

from django.forms.renderers import TemplatesSetting


class PageForms(TemplatesSetting):
    """The form renderer of every page (FORM_RENDERER)."""

    form_template_name = "forms/form.html"
    formset_template_name = "forms/formset.html"
    field_template_name = "forms/field.html"
