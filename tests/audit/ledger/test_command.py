"""`python -m audit.ledger verify` as its reader runs it: with neither Django nor database."""

import subprocess
import sys
from pathlib import Path

import pytest

from audit.ledger.__main__ import main
from audit.ledger.note import Signer
from tests.audit.ledger.histories import KEY, sealed

ROOT = Path(__file__).parents[3]
HISTORY = sealed(20, 10)


@pytest.fixture
def bundle(tmp_path: Path) -> Path:
    path = tmp_path / "history.jsonl"
    path.write_bytes(b"".join(HISTORY.bundle()))
    (tmp_path / "kept.txt").write_text(HISTORY.checkpoints[0], "utf-8")
    return path


def test_it_runs_where_django_can_not_be_imported(bundle: Path) -> None:
    code = (
        "import sys, runpy\n"
        "for name in ('django', 'psycopg', 'celery'): sys.modules[name] = None\n"
        f"sys.argv = ['ledger', 'verify', {str(bundle)!r}]\n"
        "runpy.run_module('audit.ledger', run_name='__main__')\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True,
                          check=False)  # fmt: skip
    assert done.returncode == 3, done.stderr
    assert "is intact: all 30 entries" in done.stdout
    assert "Compare it with the one you wrote down" in done.stdout


def test_since_and_key(bundle: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = str(bundle.with_name("kept.txt"))
    assert main(["verify", str(bundle), "--since", kept, "--key", KEY.verifier.text]) == 0
    assert "fits the checkpoint you kept at entry no. 20" in capsys.readouterr().out


def first_line(capsys: pytest.CaptureFixture[str]) -> str:
    return capsys.readouterr().out.splitlines()[0]


def test_the_first_line_and_the_exit_say_whether_a_key_was_pinned(
    bundle: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = str(bundle.with_name("kept.txt"))
    assert main(["verify", str(bundle), "--key", KEY.verifier.text]) == 0
    assert f"Pinned: the signing key {KEY.name}+{KEY.verifier.key_id.hex()}." in first_line(capsys)
    assert main(["verify", str(bundle)]) == 3
    assert "No signing key was pinned" in first_line(capsys)
    assert main(["verify", str(bundle), "--since", kept]) == 3
    line = first_line(capsys)
    assert "No signing key was pinned" in line
    assert "Pinned: a checkpoint of 20 entries." in line


def test_a_history_signed_anew_by_another_key_is_said_first(
    bundle: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = Signer(KEY.name, b"\x09" * 32)
    anew = sealed(20, 10, signers=(other,))
    named = f'"{KEY.verifier.text}",'.encode()
    bundle.write_bytes(b"".join(anew.bundle()).replace(named, b"", 1))
    assert main(["verify", str(bundle), "--key", KEY.verifier.text]) == 4
    assert "signed by ANOTHER key than the one pinned" in first_line(capsys)
    assert main(["verify", str(bundle)]) == 3  # nothing says that it is another's


def test_the_help_names_every_exit(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["verify", "--help"])
    told = " ".join(capsys.readouterr().out.split())
    for code in ("0: intact", "1: not", "2: could not", "3: intact", "4: signed", "5: intact"):
        assert code in told


def test_damage_ends_with_one(bundle: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bundle.write_bytes(bundle.read_bytes().replace(b"Head roaster", b"Barista", 1))
    assert main(["verify", str(bundle)]) == 1
    out = capsys.readouterr().out
    assert "NOT proven intact: 29 of 30 entries" in out
    assert "altered: Entry no. 1" in out


def test_hostile_text_does_not_reach_the_terminal(
    bundle: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bundle.write_bytes(bundle.read_bytes().replace(b"Head roaster", b"\\u001b[2JX", 1))
    assert main(["verify", str(bundle)]) == 1
    assert "\x1b" not in capsys.readouterr().out


@pytest.mark.parametrize("arguments", [
    ["verify", "absent.jsonl"],
    ["verify", "{bundle}", "--key", "nonsense"],
    ["verify", "{bundle}", "--since", "{bundle}"],
])  # fmt: skip
def test_what_can_not_be_run_ends_with_two(
    bundle: Path, arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([one.format(bundle=bundle) for one in arguments]) == 2
    assert capsys.readouterr().err.startswith("Could not check: ")


@pytest.mark.parametrize("raw", [b"", b"\n", b"\xff\xfe\n", b"[]\n", b"{}\n", b"{}", b"[" * 9000])
def test_a_file_that_is_no_bundle_is_not_intact(bundle: Path, raw: bytes) -> None:
    bundle.write_bytes(raw)
    assert main(["verify", str(bundle)]) == 1
