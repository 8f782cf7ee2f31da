"""Page: the group's policy."""

from typing import Any, TypedDict

from django import forms
from django.http import HttpResponse
from django.urls import reverse

from people.confirming.pages import confirmed
from people.persons.verbs import Verb
from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from people.policy.signing_rules import Rules, rules_in_force
from people.policy.witness_rule import known_keys, rule_of
from people.signatures.fields import SigningForm, note_signed
from people.signatures.rules import SIGNERS, Meaning, Need, SigningRule
from web.fields import SeenRevision, unmarked
from web.form_pages import form_page, posted
from web.pages import PageRequest, page


class Seers(TypedDict):
    """What set_policy takes of witnesses."""

    witnesses: list[str] | None
    witnesses_needed: int | None


ASKED = [("", "Password, and the second factor of who has one"), *Need.choices]


class PolicyForm(SigningForm):
    """The policy to sign."""

    signs = Meaning.POLICY_SET

    revision = SeenRevision()
    sole_roaster = forms.BooleanField(
        label="A sole roaster may approve their own drafts",
        required=False,
        help_text="Each such approval says so in its signature and in the history.",
    )
    boiling = forms.ChoiceField(
        label="A brew temperature above the local boiling point",
        choices=Boiling.choices,
        widget=forms.RadioSelect,
    )
    witnesses = forms.MultipleChoiceField(
        label="Witnesses that have to see the history",
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Beside what the settings ask: whoever changes those can't ask for less.",
    )
    witnesses_needed = forms.TypedChoiceField(
        label="How many of them", required=False, coerce=int, empty_value="0"
    )
    acknowledged = forms.BooleanField(
        label="Accept that some signatures wait until somebody adds what is asked",
        required=False,
        help_text="Needed only where nobody who may sign has it yet.",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        super().__init__(*args, **kwargs)
        for (meaning, role), label in RULES.items():
            self.fields[_name(meaning, role)] = unmarked(
                forms.ChoiceField(label=label, choices=ASKED, required=False)
            )
        names = [_name(*each) for each in RULES]
        self._offer_witnesses()
        seers = ["witnesses", "witnesses_needed"]
        self.order_fields(["revision", "sole_roaster", "boiling", *seers, *names])

    def _offer_witnesses(self) -> None:
        """Those there are; without any, neither is asked."""
        keys = known_keys(Policy.current())
        if not keys:
            del self.fields["witnesses"], self.fields["witnesses_needed"]
            return
        offered = [(key.text, f"{key.name}+{key.key_id.hex()}") for key in keys]
        numbers = [(n, str(n)) for n in range(len(keys) + 1)]
        for name, choices in (("witnesses", offered), ("witnesses_needed", numbers)):
            field = self.fields[name]
            if isinstance(field, forms.ChoiceField):
                field.choices = choices
            unmarked(field)

    def seers(self) -> Seers:
        """Which witnesses, and how many of them; as now where the page asked for none."""
        if "witnesses" not in self.fields:
            return {"witnesses": None, "witnesses_needed": None}
        typed = self.cleaned_data
        return {
            "witnesses": typed["witnesses"],
            "witnesses_needed": int(typed["witnesses_needed"] or 0),
        }

    def rules(self) -> Rules:
        """What signatures shall need."""
        typed = {each: self.cleaned_data[_name(*each)] for each in RULES}
        kept = {each: needs for each, needs in rules_in_force().items() if each not in RULES}
        return kept | {each: needs for each, needs in typed.items() if needs}


RULES: dict[tuple[str, str], str] = {
    **{(meaning.value, ""): f"Signatures that say “{meaning.label}”" for meaning in Meaning},
    **{("", role.value): f"Everything signed as {role.label.lower()}" for role in SIGNERS},
}


def _name(meaning: str, role: str) -> str:
    return f"signing_{meaning or role}"


@page(Verb.POLICY_SET, methods="GET POST", everywhere=True)
@confirmed()
def policy(request: PageRequest) -> HttpResponse:
    """What is in force, under whose signature, and the form to sign another."""
    current = Policy.current()
    stored = {
        "revision": current.revision,
        "sole_roaster": current.sole_roaster,
        "boiling": current.boiling,
        "witnesses": current.witnesses.split("\n"),
        "witnesses_needed": current.witnesses_needed,
        **{_name(*each): needs for each, needs in rules_in_force().items()},
    }
    form = PolicyForm(posted(request), initial=stored, request=request)

    def act() -> str:
        typed = form.cleaned_data
        set_policy(
            by=request.user,
            revision=typed["revision"],
            sole_roaster=typed["sole_roaster"],
            boiling=typed["boiling"],
            credentials=form.credentials(),
            rules=form.rules(),
            acknowledged=typed["acknowledged"],
            **form.seers(),
        )
        note_signed(request)
        return reverse("people:policy")

    return form_page(
        request,
        "people/policy/policy.html",
        form,
        act,
        said="Policy signed.",
        context={
            "policy": current,
            "seers": rule_of(current),
            "rules": SigningRule.objects.order_by("meaning", "role"),
        },
    )
