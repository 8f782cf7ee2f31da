"""Every endpoint that takes a body: a body that it accepts, and what else it must refuse."""

from tests.bad_input.calls.documents import DOCUMENTS
from tests.bad_input.calls.equipment import EQUIPMENT
from tests.bad_input.calls.history import HISTORY
from tests.bad_input.calls.menus import MENUS
from tests.bad_input.calls.people import PEOPLE
from tests.bad_input.calls.publishing import CALIBRATIONS, PUBLISHING
from tests.bad_input.calls.requests import REQUESTS
from tests.bad_input.calls.tasting import TASTINGS, WATERS

CALLS = {
    "recipes_api": [*DOCUMENTS, *REQUESTS, *PUBLISHING, *MENUS, *CALIBRATIONS, *TASTINGS],
    "stations_api": [*EQUIPMENT, *WATERS],
    "people_api": [*PEOPLE, *HISTORY],
}
