"""The history's words for what is done here."""

from audit.vocabulary import register

PERSON_ADDED = register("person.added", "Added person")
PERSON_INVITED = register("person.invited", "Made link to set a password")
PERSON_CHANGED = register("person.changed", "Changed person")
PERSON_DEACTIVATED = register("person.deactivated", "Ended sign-in")
PERSON_REACTIVATED = register("person.reactivated", "Allowed sign-in again")
ROLE_ASSIGNED = register("role.assigned", "Gave role")
ROLE_REMOVED = register("role.removed", "Took role away")
SIGN_IN_REFUSED = register("sign_in.refused", "Was refused sign-in")
SIGNING_REFUSED = register("signing.refused", "Was refused a signature")
PASSWORD_SET = register("person.password_set", "Set own password")
OWN_ACCOUNT = register("person.own_account", "Changed own sign-in")
POLICY_SET = register("policy.set", "Set policy")
TOKEN_MADE = register("token.made", "Made token")
TOKEN_REVOKED = register("token.revoked", "Revoked token")
