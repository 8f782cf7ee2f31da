"""Addresses of menus."""

from django.urls import URLPattern, path

from recipes.menus import api, pages, publishing_api, publishing_pages, review_pages

page_urls: list[URLPattern] = [
    path("menus/", pages.menus, name="menus"),
    path("menus/add/", pages.menu_add, name="menu_add"),
    path("menus/<int:pk>/", pages.menu, name="menu"),
    path("menu-versions/<int:pk>/", pages.menu_version, name="menu_version"),
    path("menu-versions/<int:pk>/draft/", pages.menu_draft, name="menu_draft"),
    path("menu-versions/<int:pk>/edit/", pages.menu_version_edit, name="menu_version_edit"),
    path(
        "menu-versions/<int:pk>/submit/",
        review_pages.menu_version_submit,
        name="menu_version_submit",
    ),
    path(
        "menu-versions/<int:pk>/return/",
        review_pages.menu_version_return,
        name="menu_version_return",
    ),
    path(
        "menu-versions/<int:pk>/approve/",
        review_pages.menu_version_approve,
        name="menu_version_approve",
    ),
    path(
        "menu-versions/<int:pk>/withdraw/",
        review_pages.menu_version_withdraw,
        name="menu_version_withdraw",
    ),
    path("menu-versions/<int:pk>/publish/", publishing_pages.where, name="menu_publish"),
    path("menu-versions/<int:pk>/publish/plan/", publishing_pages.plan, name="menu_plan"),
    path("sites/<int:pk>/menu/", pages.site_menu, name="site_menu"),
]
api_urls: list[URLPattern] = [
    path("menus/", api.Menus.as_view(), name="menus"),
    path("menus/<int:pk>/", api.OneMenu.as_view(), name="menu"),
    path("menus/<int:pk>/versions/", api.MenuVersions.as_view(), name="menu_versions"),
    path("menu-versions/<int:pk>/", api.OneMenuVersion.as_view(), name="menu_version"),
    path("menu-versions/<int:pk>/draft/", api.NextDraft.as_view(), name="menu_draft"),
    path("menu-versions/<int:pk>/submit/", api.Submission.as_view(), name="menu_version_submit"),
    path("menu-versions/<int:pk>/return/", api.Return.as_view(), name="menu_version_return"),
    path("menu-versions/<int:pk>/approve/", api.Approval.as_view(), name="menu_version_approve"),
    path(
        "menu-versions/<int:pk>/withdraw/", api.Withdrawal.as_view(), name="menu_version_withdraw"
    ),
    path("menu-versions/<int:pk>/plan/", publishing_api.Planning.as_view(), name="menu_plan"),
    path(
        "menu-versions/<int:pk>/publish/", publishing_api.Publishing.as_view(), name="menu_publish"
    ),
    path("sites/<slug:code>/menu/", publishing_api.SiteMenu.as_view(), name="site_menu"),
]
