"""The newest checkpoint by mail: kept outside, it is what a rebuilt history can not meet."""

from django.conf import settings
from django.core.mail import send_mail

from audit.sealing.keys import verifiers
from audit.sealing.seal import newest_checkpoint

WORDS = """\
The history of Portaledger, {size:,} entries, as signed on {made:%Y-%m-%d at %H:%M:%S} UTC.

Keep this mail. Saved to a file from the first line below the dashes to its end, it is what
`python -m audit.ledger verify BUNDLE --since FILE` compares an export with: nothing up to this
entry can be altered, removed, inserted or re-ordered without being found.

Signing key: {key}
{dashes}
{note}"""


def mail_newest() -> int:
    """Send it to every address of LEDGER_MAIL_TO; returns how many. Repeating does no harm."""
    newest, addresses = newest_checkpoint(), settings.LEDGER_MAIL_TO
    if newest is None or not addresses:
        return 0
    text = WORDS.format(
        size=newest.size,
        made=newest.made_at,
        key=verifiers()[-1].text,
        dashes="-" * 70,
        note=newest.note,
    )
    send_mail(f"[Portaledger] Checkpoint of {newest.size:,} entries", text, None, addresses)
    return len(addresses)
