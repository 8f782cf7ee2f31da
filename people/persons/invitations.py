"""The link by which somebody sets a password: once, and within three days."""

import logging
import smtplib
from collections.abc import Callable

from allauth.account.forms import default_token_generator
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.mail import send_mail
from django.db import transaction
from django.db.models.functions import Now
from django.urls import reverse

from audit.capture.context import recorded
from audit.errors import Refused
from audit.vocabulary import register
from people.mailing.refusals import note_refusal
from people.persons.actions import subject_of
from people.persons.models import User
from people.persons.permissions import require_everywhere
from people.persons.verbs import Verb

PERSON_INVITED = register("person.invited", "Made link to set a password")


logger = logging.getLogger(__name__)
MAIL = """Hello {name},

you have been added to Portaledger, which keeps our espresso recipes.
Set your password with this link; it works once, until {days} days from now:

{link}

Then sign in with this e-mail address.
"""


def invite(*, by: User | None, person: User, absolute: Callable[[str], str]) -> str:
    """Mail the link and return it, to be handed over where mail does not arrive.

    absolute: makes an address of a path (request.build_absolute_uri). `by` None is the console.
    Raises NotPermitted, and Refused for somebody who may not sign in.
    """
    with recorded(by=by, action=PERSON_INVITED, subject=subject_of(person)):
        if by:
            require_everywhere(by, Verb.PEOPLE_MANAGE)
        # In one statement, so that whose sign-in is ended at this moment gets none.
        if not User.objects.filter(pk=person.pk, is_active=True).update(invited_at=Now()):
            raise Refused(f"{person} may not sign in: allow that first.")
        link = absolute(_path(person))
        transaction.on_commit(lambda: _mail(person, link), robust=True)
    return link


def _path(person: User) -> str:
    # The token covers the password's hash and the last sign-in, so it ends with its first use.
    token = default_token_generator.make_token(person)
    parts = {"uidb36": user_pk_to_url_str(person), "key": token}
    return reverse("account_reset_password_from_key", kwargs=parts)


def _mail(person: User, link: str) -> None:
    days = settings.PASSWORD_RESET_TIMEOUT // 86_400
    text = MAIL.format(name=person.name, link=link, days=days)
    try:
        send_mail("Your sign-in to Portaledger", text, None, [person.email])
    except smtplib.SMTPRecipientsRefused as refused:
        said = next(iter(refused.recipients.values()))[1].decode("utf-8", "replace")
        note_refusal(person_id=person.pk, address=person.email, said=said)
    except OSError:
        # The link is on the page too, so a mail server that fails keeps nobody out.
        logger.exception("No invitation could be mailed to person %s", person.pk)
