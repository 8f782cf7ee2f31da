"""What the history calls the changes of recipes' documents: a closed list of actions."""

from audit.vocabulary import register

COFFEE_ADDED = register("coffee.added", "Added coffee")
COFFEE_CHANGED = register("coffee.changed", "Changed coffee")
LOT_ADDED = register("lot.added", "Added roast lot")
RECIPE_ADDED = register("recipe.added", "Added recipe")

VERSION_DRAFTED = register("version.drafted", "Drafted version")
VERSION_EDITED = register("version.edited", "Edited draft")
VERSION_SUBMITTED = register("version.submitted", "Submitted version")
VERSION_RETURNED = register("version.returned", "Returned version")
VERSION_COMMENTED = register("version.commented", "Commented on version")
VERSION_APPROVED = register("version.approved", "Approved version")
VERSION_SUPERSEDED = register("version.superseded", "Superseded version")
VERSION_WITHDRAWN = register("version.withdrawn", "Withdrew version")

REQUEST_MADE = register("request.made", "Asked for a change")
REQUEST_CHANGED = register("request.changed", "Changed request")
REQUEST_ASKED_BACK = register("request.asked_back", "Asked back about request")
REQUEST_REBASED = register("request.rebased", "Put request against the current version")
REQUEST_ACCEPTED = register("request.accepted", "Accepted request")
REQUEST_DECLINED = register("request.declined", "Declined request")
REQUEST_TAKEN_BACK = register("request.taken_back", "Took back request")

TASTING_PLANNED = register("tasting.planned", "Planned tasting")
TASTING_ANSWERED = register("tasting.answered", "Recorded answers of tasting")
TASTING_LOCKED = register("tasting.locked", "Locked answers of tasting")
TASTING_OPENED = register("tasting.opened", "Opened key of tasting")
TASTING_ATTACHED = register("tasting.attached", "Attached tasting as evidence")

FIT_ASKED = register("fit.asked", "Asked for a fit of the shot model")
FIT_RUN = register("fit.run", "Fitted the shot model")
