"""Users, roles and what each may do."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """Users, roles and what each may do."""

    name = "people"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Tell the history our words, how we are shown, and which tables leave none."""
        from people import history  # noqa: F401 - only once models are there
        from people.persons.permissions import answer_pages
        from people.sign_in import models  # noqa: F401 - says which tables leave no history
        from people.signatures.content import register
        from people.tokens import schema  # noqa: F401 - REST framework must be there by then

        answer_pages()
        register()
