"""The five roles a person may be given; a role covers all sites or named ones."""

from django.db.models import TextChoices


class Role(TextChoices):
    """What somebody is at the bars, not who they are."""

    HEAD_ROASTER = "head_roaster", "Head roaster"
    SHOP_LEAD = "shop_lead", "Shop lead"
    BARISTA = "barista", "Barista"
    TECHNICIAN = "technician", "Technician"
    OWNER = "owner", "Owner"
