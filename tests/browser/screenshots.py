"""The pictures of the README: `make screenshots`, from the demo scenario.

Starts the demo on a free port, or takes one that runs: `--url http://127.0.0.1:8000`. To add a
picture, add a line to SHOTS.
"""

import argparse
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import django
from playwright.sync_api import Browser, Page, Response, StorageState, sync_playwright

from embedded.commands import free_ports, load, temporary_folder
from embedded.stack import run_application, servers
from tests.browser.looking import ARGUMENTS, WIDTHS

FOLDER = Path(__file__).parents[2] / "docs/screenshots"


@dataclass(frozen=True)
class Shot:
    """A picture: who looks, where they start, and the links or buttons they press from there."""

    name: str
    person: str
    path: str
    presses: tuple[str, ...] = ()
    screen: str = "desk"
    scheme: Literal["light", "dark"] = "light"
    height: int = 900
    part: str = ""  # a selector: the picture shows this alone
    paper: bool = False


SHOTS = (
    Shot("home", "head_roaster", "/"),
    Shot("version", "second_roaster", "/recipes/", ("version 4",), height=1150),
    Shot("sign", "second_roaster", "/recipes/", ("version 4", "Read and sign"), part=".sign"),
    Shot(
        "plan", "head_roaster", "/recipes/", ("version 3", "Publish", "Show the plan"), height=1300
    ),
    Shot("board", "owner", "/board/"),
    Shot(
        "slot",
        "lead_tramway",
        "/",
        ("Long bar, station 1", "Slot 1 differs"),
        screen="tablet",
        height=1100,
    ),
    Shot(
        "key-in", "lead_citadel", "/", ("Gate, station 1", "to load"), screen="tablet", height=1000
    ),
    Shot("station", "barista", "/stations/1/", ("Bar page",), screen="phone"),
    Shot("sheet", "lead_harbour", "/stations/1/sheet/", height=560, paper=True),
    Shot("request", "head_roaster", "/requests/", ("Request 1",), height=1250),
    Shot("history", "owner", "/history/?parameter=brew_temperature", height=1000),
    Shot("board-dark", "owner", "/board/", scheme="dark"),
)


def main(arguments: list[str]) -> int:
    """Take every picture, or those named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--url", help="a running demo; without it, one is started")
    parser.add_argument("names", nargs="*", help="only these pictures")
    options = parser.parse_args(arguments)
    wanted = [shot for shot in SHOTS if not options.names or shot.name in options.names]
    with _demo(options.url) as address, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=_chromium(), args=ARGUMENTS)
        _take(browser, address, wanted)
        browser.close()
    return 0


@contextmanager
def _demo(url: str | None) -> Iterator[str]:
    if url:
        yield url
        return
    with temporary_folder("screenshots") as folder, servers(folder, mode="demo") as stack:
        load(stack, shown=False)
        yield run_application(stack, ports=free_ports(1), workers=1)[0]


def _chromium() -> str:
    program = shutil.which("chromium") or shutil.which("chromium-browser")
    return program or sys.exit("No Chromium on this machine (looked for chromium).")


def _take(browser: Browser, address: str, shots: list[Shot]) -> None:
    """Sign each person in once; a picture a line on standard output."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    emails, password = _sign_ins()
    states = {
        person: _signed_in(browser, address, emails[person], password)
        for person in {shot.person for shot in shots}
    }
    for shot in shots:
        context = browser.new_context(
            base_url=address, storage_state=states[shot.person], color_scheme=shot.scheme
        )
        page = context.new_page()
        _go(page, shot)
        place = FOLDER / f"{shot.name}.png"
        (page.locator(shot.part) if shot.part else page).screenshot(path=place)
        print(f"{place.relative_to(FOLDER.parents[1])} {place.stat().st_size // 1024} kB")
        context.close()


def _sign_ins() -> tuple[dict[str, str], str]:
    """The e-mail address of each of the demo's people, and their password."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    os.environ.setdefault("PORTALEDGER_MODE", "test")
    django.setup()
    from recipes.demo.people import MEMBERS, PASSWORD  # noqa: PLC0415 - needs the settings

    return {member.key: member.email for member in MEMBERS}, PASSWORD


def _signed_in(browser: Browser, address: str, email: str, password: str) -> StorageState:
    context = browser.new_context(base_url=address)
    page = context.new_page()
    page.goto("/account/login/")
    page.get_by_label("E-mail address").fill(email)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    state = context.storage_state()
    context.close()
    return state


def _go(page: Page, shot: Shot) -> None:
    page.on("response", _must_be_fine)
    page.set_viewport_size({"width": WIDTHS[shot.screen], "height": shot.height})
    page.goto(shot.path)
    for words in shot.presses:
        main = page.locator("main")
        link, button = (main.get_by_role(role, name=words) for role in ("link", "button"))
        named = link.or_(button)
        # Today folds each station away behind its name.
        (named if named.count() else main.locator("summary", has_text=words)).first.click()
        page.wait_for_load_state()
    if shot.paper:
        page.emulate_media(media="print")
        page.evaluate("document.body.style.padding = '14mm 15mm'")  # the margins of the sheet
        page.set_viewport_size({"width": 794, "height": shot.height})  # A4 at 96 px an inch


def _must_be_fine(response: Response) -> None:
    if response.status >= 400:
        sys.exit(f"{response.url} answered {response.status}: no picture of that.")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
