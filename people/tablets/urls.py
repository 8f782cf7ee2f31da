"""Addresses of tablets."""

from django.urls import URLPattern, path

from people.tablets import api, managing, pages

page_urls: list[URLPattern] = [
    path("tablet/", pages.tablet, name="tablet"),
    path("tablet/enrol/", pages.tablet_enrol, name="tablet_enrol"),
    path("tablet/people/<int:pk>/", pages.tablet_person, name="tablet_person"),
    path("tablet/leave/", pages.tablet_leave, name="tablet_leave"),
    path("tablet/rest/", pages.tablet_rest, name="tablet_rest"),
    path("tablet/full/", pages.tablet_full, name="tablet_full"),
    path("sites/<int:pk>/tablets/", managing.tablets, name="tablets"),
    path("sites/<int:pk>/tablets/policy/", managing.tablet_policy, name="tablet_policy"),
    path("tablets/<int:pk>/", managing.tablet_edit, name="tablet_edit"),
    path("tablets/<int:pk>/code/", managing.tablet_code, name="tablet_code"),
    path("tablets/<int:pk>/revoke/", managing.tablet_revoke, name="tablet_revoke"),
]
api_urls: list[URLPattern] = [
    path("sites/<slug:code>/tablets/", api.Tablets.as_view(), name="tablets"),
    path("sites/<slug:code>/tablet-policy/", api.TabletPolicyView.as_view(), name="tablet_policy"),
    path("tablets/<int:pk>/", api.OneTablet.as_view(), name="tablet"),
    path("tablets/<int:pk>/revoke/", api.TabletRevocation.as_view(), name="tablet_revoke"),
    path("people/<int:pk>/pin/", api.PinRemoval.as_view(), name="pin"),
]
