"""The service worker imports what was registered, once, and is open to all."""

import pytest
from django.test import Client

from web import service_worker
from web.service_worker import register_script


def test_it_imports_each_registered_file_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service_worker, "_SCRIPTS", [])
    for path in ("js/one.js", "js/two.js", "js/one.js"):
        register_script(path)
    answer = Client().get("/service-worker.js")
    assert answer.headers["Content-Type"] == "text/javascript"
    imported = 'importScripts("/static/js/one.js");\nimportScripts("/static/js/two.js");\n'
    assert answer.content.decode() == imported


def test_nothing_is_sent_to_it() -> None:
    assert Client().post("/service-worker.js").status_code == 405
