"""People: who signs in, what they sign, the policy in force, keys for programs."""

from people.devices.models import Device, PushKey
from people.mailing.models import Undeliverable
from people.notices.models import Choice, Matter, Message, Notice, NoticeRule, Reader
from people.passkeys.models import Assertion, KeyEvent
from people.persons.models import Assignment, User
from people.pins.models import Pin
from people.policy.models import Boiling, Policy
from people.sign_in.models import LibraryAddress, LibraryKey, SecondFactor, SignIn, SingleAccount
from people.signatures.models import Meaning, Signature, SignedContent, SigningRule
from people.tablets.models import PinTry, Tablet, TabletPolicy
from people.tokens.models import ApiToken, Scope

__all__ = [
    "ApiToken",
    "Assertion",
    "Assignment",
    "Boiling",
    "Choice",
    "Device",
    "KeyEvent",
    "LibraryAddress",
    "LibraryKey",
    "Matter",
    "Meaning",
    "Message",
    "Notice",
    "NoticeRule",
    "Pin",
    "PinTry",
    "Policy",
    "PushKey",
    "Reader",
    "Scope",
    "SecondFactor",
    "SignIn",
    "Signature",
    "SignedContent",
    "SigningRule",
    "SingleAccount",
    "Tablet",
    "TabletPolicy",
    "Undeliverable",
    "User",
]
