"""What the history calls the changes of fits; an entry about one is about its station."""

from audit.vocabulary import register as action

FIT_ASKED = action("fit.asked", "Asked for a fit of the shot model")
FIT_RUN = action("fit.run", "Fitted the shot model")
