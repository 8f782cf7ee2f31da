"""An invented page's worth of context for every shared part."""

from datetime import UTC, datetime
from decimal import Decimal

from django.contrib import messages
from django.contrib.messages.storage.base import Message

from audit.registry import ContentShown, SignatureShown
from tests.web.gallery.forms import FilterForm, GalleryForm, SignForm
from web.icons import MARKS

WHEN = datetime(2026, 8, 1, 12, 0, tzinfo=UTC)
HALF = Decimal("0.5")
PLACES = (
    "Home", "Board", "Recipes", "Publications", "Requests", "Permits", "Tastings",
    "History",
    "Coffees", "Sites", "Machine types", "People", "Policy",
)  # fmt: skip


def _row(label: str, target: object, unit: str, state: str, **more: object) -> dict[str, object]:
    return {"label": label, "target": target, "unit": unit, "state": state, **more}


FORMULA = [
    _row("Brew temperature", Decimal("93.0"), "Cel", "matches", below=HALF, above=HALF),
    _row("Brew pressure", Decimal("9.0"), "bar", "differs", below=HALF, above=HALF),
    _row("Water volume", 14212, "{pulse}", "on_permit", note="36.5 mL at this flow meter"),
    _row("Shot time", Decimal("28"), "s", "to_load", below=Decimal(2), above=Decimal(3)),
    _row("Ends by", "volume", "", "ended", set_by="machine"),
]
DIFF = [
    {"label": "Brew temperature", "unit": "Cel", "old": Decimal("93.0"), "new": Decimal("94.5"),
     "old_below": HALF, "old_above": HALF, "new_below": HALF, "new_above": HALF, "differs": True},
    {"label": "Dose", "unit": "g", "old": Decimal("18.0"), "new": Decimal("18.0"),
     "differs": False},
    {"label": "Taper pressure", "unit": "bar", "old": None, "new": Decimal(6), "differs": True},
]  # fmt: skip
WORK = [
    {"url": "#w1", "text": "Version 4 of House espresso waits for a signature",
     "mark": "in_review", "age": "2 days"},
    {"url": "#w2", "text": "Slot 2 of station 1", "mark": "differs", "site": "Harbour",
     "when": WHEN, "zone": "America/Bogota"},
]  # fmt: skip

DIGEST = "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"
SIGNED = SignatureShown("Head roaster", "Head roaster", "Approved", WHEN, DIGEST, "Sole roaster")
CONTENTS = [
    ContentShown(True, "Content still has this digest."),
    ContentShown(False, "Content has changed since: its end."),
    ContentShown(None, "What was seen was not kept, so its digest can't be worked out again."),
]


def context(*, bound: bool = False) -> dict[str, object]:
    """All of it; with `bound` the forms carry what somebody got wrong."""
    return {
        "user": {"is_authenticated": True, "name": "Head roaster"},
        "nav": [
            {"label": label, "url": f"#{label}", "here": label == "Recipes",
             "apart": label == "Coffees"}
            for label in PLACES
        ],
        "account_url": "/account/",
        "sign_out_url": "/out/",
        "messages": [
            Message(messages.SUCCESS, "The draft is saved."),
            Message(messages.ERROR, "Nothing was placed."),
        ],
        "when": WHEN,
        "zone": "Asia/Kathmandu",
        "codes": list(MARKS),
        "formula": FORMULA,
        "diff": DIFF,
        "work": WORK,
        "nothing": [],
        "enrolled": {"enrolled_at": None, "revision": 1},
        "facts": [("Coffee", "Harbour blend"), ("Roast date", "28 Jul 2026")],
        "problems": ["Slot 3: 96 °C is above this machine's 95 °C.",
                     {"line": 4, "field": "altitude", "message": "“high” is no number of metres."}],
        "digest": DIGEST,
        "signed": SIGNED,
        "contents": CONTENTS,
        "form": GalleryForm({"dose_mass": "18.5 g", "revision": "x"}) if bound else GalleryForm(),
        "sign_form": SignForm(),
        "filter_form": FilterForm(),
    }  # fmt: skip
