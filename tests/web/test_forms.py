"""Forms as drawn: label, hint, error and unit tied to their field, and a summary leading there."""

import re

from django import forms

from tests.web.gallery.forms import GalleryForm, SignForm
from tests.web.test_components import render, words


def wrong() -> GalleryForm:
    """A form that somebody sent half filled in."""
    return GalleryForm({"dose_mass": "18.5 g", "revision": "x"})


def test_hint_and_error_describe_their_field() -> None:
    html = str(wrong())
    field = re.search(r'<input[^>]*name="dose_mass"[^>]*>', html)
    assert field is not None
    assert 'aria-describedby="id_dose_mass_helptext id_dose_mass_error"' in field[0]
    assert 'aria-invalid="true"' in field[0]
    assert 'id="id_dose_mass_helptext"' in html
    assert 'id="id_dose_mass_error"' in html


def test_every_id_is_given_once() -> None:
    ids = re.findall(r'\sid="([^"]+)"', str(wrong()))
    assert len(ids) == len(set(ids))


def test_the_summary_leads_to_each_field() -> None:
    html = render("{% error_summary form %}", form=wrong())
    anchors = re.findall(r'href="#([^"]+)"', html)
    assert anchors[:3] == ["id_dose_mass", "id_beverage_mass", "id_ends_by_0"]
    assert all(f'id="{anchor}"' in str(wrong()) for anchor in anchors)
    assert "7 things to put right" in html


def test_a_form_not_yet_sent_has_no_summary() -> None:
    assert "error-summary" not in str(GalleryForm())


def test_a_hidden_fields_error_is_told_without_a_link() -> None:
    html = render("{% error_summary form %}", form=wrong())
    assert "<li>Revision: Enter a whole number.</li>" in html


def test_the_unit_stands_beside_the_box_and_in_the_label() -> None:
    html = str(GalleryForm()["dose_mass"].as_field_group())
    assert '<span class="visually-hidden"> in g</span>' in html
    assert '<span class="suffix" aria-hidden="true">g</span>' in html


def test_a_choice_is_a_group_with_a_legend() -> None:
    html = str(GalleryForm()["ends_by"].as_field_group())
    assert html.lstrip().startswith("<fieldset")
    assert "<legend>Ends by</legend>" in html


def test_optional_fields_say_so() -> None:
    assert "(optional)" in str(GalleryForm()["grind_note"].as_field_group())
    assert "(optional)" not in str(GalleryForm()["dose_mass"].as_field_group())


def test_a_formset_is_drawn_with_its_own_errors() -> None:
    formset = forms.formset_factory(SignForm, min_num=2, validate_min=True)(
        {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0", "form-0-password": ""}
    )
    html = str(formset)
    assert "Please submit at least 2 forms." in html
    assert 'href="#id_form-0-password"' in html


def test_the_signature_slip_shows_what_is_signed() -> None:
    source = '{% include "parts/sign_panel.html" with meaning="Approve 4" digest=d %}'
    form = SignForm()
    vars(form)["has_password"] = True
    said = words(render(source, form=form, d="9f86d081884c7d65"))
    assert "Approve 4" in said
    assert "9f86 d081 884c" in said
    assert "Your password" in said
