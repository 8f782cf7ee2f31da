"""Sites, machines and stations."""

from django import forms

from stations.equipment.bounds import ALTITUDE, OFFSET, PULSES, SLOT_COUNT, STATION_NUMBER
from stations.machine_types.models import MachineType
from web.fields import SeenRevision, number, whole


class SiteFilter(forms.Form):
    """Sites by a part of their name."""

    q = forms.CharField(label="Site", required=False, max_length=80)


ZONE_HINT = "IANA name, such as Europe/Lisbon"
CODE_HINT = "In addresses and for gateways: small letters, digits and hyphens. It stays as it is."


class SiteForm(forms.Form):
    """A bar that is already there."""

    revision = SeenRevision()
    name = forms.CharField(max_length=80)
    time_zone = forms.CharField(
        label="Time zone",
        max_length=60,
        help_text=ZONE_HINT,
        widget=forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"}),
    )
    altitude = number("Altitude", ALTITUDE, hint="above sea level: it decides where water boils")


class NewSiteForm(SiteForm):
    """A bar to be added."""

    revision = None  # type: ignore[assignment]
    code = forms.CharField(max_length=20, help_text=CODE_HINT)
    field_order = ["code", "name", "time_zone", "altitude"]


class NewMachineForm(forms.Form):
    """A machine to be added."""

    name = forms.CharField(max_length=80, help_text="As the bar calls it, such as “Left machine”.")
    machine_type = forms.ModelChoiceField(MachineType.objects.all(), empty_label="Choose")


class MachineForm(NewMachineForm):
    """A machine that is already there."""

    revision = SeenRevision()


class TraitsForm(forms.Form):
    """What sets a station apart from its neighbours."""

    pulses_per_millilitre = number(
        "Flow meter", PULSES, required=False, hint="From its calibration; empty: not measured."
    )
    temperature_offset = number(
        "Temperature offset",
        OFFSET,
        required=False,
        hint="Measured at the group minus set; empty: not measured.",
    )


class NewStationForm(TraitsForm):
    """A station to be added."""

    number = whole("Number", STATION_NUMBER, hint="The brewing group, counted from the left.")
    slots = whole("Slots", SLOT_COUNT, hint="How many recipe buttons it has.")
    reason = forms.CharField(
        required=False, max_length=500, help_text="Needed where a figure is not usual."
    )
    field_order = ["number", "slots", "pulses_per_millilitre", "temperature_offset", "reason"]


class SlotsForm(forms.Form):
    """How many slots a station has."""

    total = whole("Slots", SLOT_COUNT, hint="Slots can be added, never removed.")
