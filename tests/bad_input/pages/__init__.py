"""Every page that takes a form: what it accepts, and what else it must refuse."""

from tests.bad_input.pages.decisions import DECISIONS
from tests.bad_input.pages.documents import DOCUMENTS
from tests.bad_input.pages.equipment import EQUIPMENT
from tests.bad_input.pages.history import HISTORY
from tests.bad_input.pages.measuring import MEASURING, TASTINGS
from tests.bad_input.pages.menus import MENUS
from tests.bad_input.pages.people import PEOPLE

FORMS = {
    "recipes": [*DOCUMENTS, *MENUS, *DECISIONS, *TASTINGS],
    "stations": [*EQUIPMENT, *MEASURING],
    "people": PEOPLE,
    "audit": HISTORY,
}
