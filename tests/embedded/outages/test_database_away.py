"""The database is restarted, cut off, frozen or overrun: people are told, and it heals."""

from concurrent.futures import ThreadPoolExecutor

import psycopg
import requests

from embedded import cluster
from tests.embedded.outages.running import LOGIN, OWNER, PATIENCE, Running

API = "/api/v1/sites/"


def require_told(answer: requests.Response) -> None:
    """503, when to come back, and the id to name."""
    assert answer.status_code == 503
    assert answer.headers["Retry-After"] == "5"
    assert len(answer.headers["X-Request-ID"]) == 32
    assert "Content-Security-Policy" in answer.headers
    if answer.request.path_url.startswith("/api/"):
        assert answer.headers["Content-Type"] == "application/problem+json"
        assert answer.json()["type"].endswith("#unavailable")
    else:
        assert answer.headers["X-Request-ID"] in answer.text


def test_connections_that_were_cut_are_replaced_unseen(running: Running) -> None:
    assert {each.status_code for each in running.many(LOGIN)} == {200}
    assert running.cut_connections() > 1
    assert {each.status_code for each in running.many(LOGIN)} == {200}
    assert {each.status_code for each in running.many(API)} == {401}


def test_a_restart_of_the_database(running: Running) -> None:
    browser = requests.Session()
    running.get(LOGIN, browser)
    running.many(LOGIN)
    running.stop_database()
    try:
        for path in ("/", LOGIN, API):
            for answer in running.many(path, 8):
                if answer.status_code not in (302, 200, 401):  # what needs no database goes on
                    require_told(answer)
        sent = running.sign_in(browser)
        require_told(sent)
        assert running.get("/readyz").text == "no answer: database\n"
        assert running.get("/livez").text == "ok\n"
    finally:
        running.start_database()
    running.wait_until_well()
    assert {each.status_code for each in running.many(LOGIN)} == {200}
    assert {each.status_code for each in running.many(API)} == {401}


def test_a_frozen_database_hangs_nobody_and_what_was_typed_can_be_sent_again(
    running: Running,
) -> None:
    browser = requests.Session()
    running.get(LOGIN, browser)
    running.many(LOGIN)
    with running.frozen("database"):
        sent = running.sign_in(browser)
        require_told(sent)
        assert f'name="login" value="{OWNER}"' in sent.text
        assert f'value="{browser.cookies["csrftoken"]}"' in sent.text
        assert 'type="password" id="again-password"' in sent.text
        assert "correct horse" not in sent.text
        for answer in running.many(f"{LOGIN}?next=/", 16):
            assert answer.status_code in (200, 503)
        assert running.get("/readyz").text == "no answer: database\n"
        assert running.get("/livez").text == "ok\n"
    running.wait_until_well()
    assert running.sign_in(browser).url == f"{running.address}/"


def test_more_than_the_pool_holds_is_told_so(running: Running) -> None:
    browser = requests.Session()
    assert running.sign_in(browser).status_code == 200
    with psycopg.connect(cluster.prepare(running.stack.folder).url()) as link:
        link.execute("LOCK TABLE django_session IN ACCESS EXCLUSIVE MODE")
        answers = _many_signed_in(running, browser)
    told = [answer for answer in answers if answer.status_code == 503]
    assert told
    for answer in told:
        require_told(answer)
    assert {answer.status_code for answer in answers} <= {503, 409}
    assert running.get("/", browser).status_code == 200


def _many_signed_in(running: Running, browser: requests.Session) -> list[requests.Response]:
    cookies = {name: value or "" for name, value in browser.cookies.items()}
    with ThreadPoolExecutor(8) as threads:
        return list(
            threads.map(
                lambda _: requests.get(running.address, cookies=cookies, timeout=PATIENCE * 2),
                range(8),
            )
        )
