"""What is done after a commit can't make somebody believe that nothing was committed."""

import ast

from tests.tooling.listing import ROOT

FOLDERS = ("audit", "web", "people", "stations", "recipes", "config")


def _careless(tree: ast.AST) -> list[int]:
    return [
        call.lineno
        for call in ast.walk(tree)
        if isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr == "on_commit"
        and not any(each.arg == "robust" for each in call.keywords)
    ]


def test_whatever_follows_a_commit_is_robust() -> None:
    """A queue or mail server that is away then is made up for by a sweep."""
    assert _careless(ast.parse("transaction.on_commit(start)")) == [1]
    found = {
        f"{path.relative_to(ROOT)}:{line}"
        for folder in FOLDERS
        for path in (ROOT / folder).rglob("*.py")
        for line in _careless(ast.parse(path.read_text()))
    }
    assert found == set()
