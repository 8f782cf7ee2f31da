"""Signing in by e-mail and password (allauth's), with rights from people.verbs."""

from allauth.account.auth_backends import AuthenticationBackend
from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.auth.models import AnonymousUser

from people.models import User
from people.permissions import may
from people.verbs import Verb

# Django's names for rights, where a library or another layer asks by them.
PERMISSIONS: dict[str, Verb] = {
    "audit.view_entry": Verb.HISTORY_VIEW,
    "people.view_user": Verb.PEOPLE_MANAGE,
    "people.add_user": Verb.PEOPLE_MANAGE,
    "people.change_user": Verb.PEOPLE_MANAGE,
    "people.change_policy": Verb.POLICY_SET,
    "people.add_apitoken": Verb.TOKEN_MAKE,
    "stations.view_site": Verb.EQUIPMENT_VIEW,
    "stations.change_site": Verb.EQUIPMENT_EDIT,
    "recipes.view_recipe": Verb.RECIPE_VIEW,
    "recipes.change_recipe": Verb.RECIPE_DRAFT,
}


class RoleBackend(AuthenticationBackend):  # type: ignore[misc]  # the library has no types
    """One backend, so that there is one answer. Nobody has rights by Django's own tables."""

    def has_perm(
        self,
        user_obj: AbstractBaseUser | AnonymousUser,
        perm: str,
        obj: object = None,
    ) -> bool:
        """Whether some role allows the verb behind the name; False for a name not listed."""
        verb = PERMISSIONS.get(perm)
        return verb is not None and isinstance(user_obj, User) and may(user_obj, verb)

    def get_all_permissions(
        self, user_obj: AbstractBaseUser | AnonymousUser, obj: object = None
    ) -> set[str]:
        """All the names that has_perm says yes to."""
        return {name for name in PERMISSIONS if self.has_perm(user_obj, name)}
