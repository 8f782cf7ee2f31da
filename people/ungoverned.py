"""Other packages' tables that leave no history, each with the reason."""

from audit.governed import exempt_label

exempt_label("sessions.Session", "who is signed in at this moment; ended by itself")
exempt_label("contenttypes.ContentType", "Django's list of models, written by migrations")
exempt_label("auth.Permission", "Django's; nobody's rights come from it (people.verbs)")
exempt_label("auth.Group", "Django's; not used")
exempt_label("auth.Group_permissions", "Django's; not used")
exempt_label("account.EmailAddress", "the library's; people sign in by User.email only")
exempt_label("account.EmailConfirmation", "the library's; not used")
