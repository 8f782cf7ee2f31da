"""Users, roles and what each may do."""

from collections.abc import Iterable

from django.apps import AppConfig

FOUND_AT_MOST = 50


class PeopleConfig(AppConfig):
    """Users, roles and what each may do."""

    name = "people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history and the pages what they ask of us."""
        from people.persons.permissions import answer_pages
        from people.tokens import schema  # noqa: F401 - REST framework must be there by then

        answer_pages()
        _tell_people()
        _tell_the_history()


def _tell_people() -> None:
    """What owners hear of the history, and what a browser's worker does with a push."""
    from people.devices import actions  # noqa: F401 - hears who signs in and out
    from people.mailing import checks  # noqa: F401 - registers what a deployment is checked for
    from people.notices import alarms, choices, posting  # noqa: F401 - words, and an alarm
    from web.service_worker import register_script

    alarms.register()
    register_script("js/worker-push.js")


def _tell_the_history() -> None:
    """Our words, how we are shown, and which tables leave none; once the models are there."""
    from audit.reading.choosing import lookup_in
    from audit.registry import (
        register_content,
        register_passkeys,
        register_people,
        register_signature,
        register_signatures,
        register_subject,
    )
    from audit.witnessing.policy import register_rule
    from people.passkeys.comparing import keys_not_as_told
    from people.persons.models import User
    from people.policy.actions import policy_content
    from people.policy.witness_rule import rule_in_force
    from people.sign_in import (
        actions,  # noqa: F401 - our words
        adapter,  # noqa: F401 - our words
        models,  # noqa: F401 - says which tables leave no history
    )
    from people.signatures.whole import every_signature, signatures_shown
    from people.tablets import history as tablets
    from people.tokens import actions as tokens  # noqa: F401 - our words

    register_people(lookup_in(User.objects.all, everywhere=True))
    register_signature(signatures_shown)
    register_signatures(every_signature)
    register_passkeys(keys_not_as_told)
    register_content("policy", policy_content)
    register_rule(rule_in_force)
    register_subject("person", "Person", "people:edit", find=_people_named)
    register_subject("policy", "Policy")
    register_subject("token", "Token")
    register_subject("signature", "Signature")
    tablets.register()


def _people_named(text: str) -> Iterable[tuple[int, str]]:
    from people.persons.models import User

    named = User.objects.filter(name__icontains=text)
    return named.values_list("pk", "name")[:FOUND_AT_MOST]
