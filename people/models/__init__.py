"""People: who signs in, what they sign, the policy in force, keys for programs."""

from people.models.assignment import Assignment
from people.models.idempotency import IdempotencyKey
from people.models.policy import Boiling, Policy
from people.models.second_factor import SecondFactor
from people.models.signature import Meaning, Signature
from people.models.signed_content import SignedContent
from people.models.token import ApiToken, Scope
from people.models.user import User

__all__ = [
    "ApiToken",
    "Assignment",
    "Boiling",
    "IdempotencyKey",
    "Meaning",
    "Policy",
    "Scope",
    "SecondFactor",
    "Signature",
    "SignedContent",
    "User",
]
