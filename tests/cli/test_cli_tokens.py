"""Keys in a token: a software one (SoftHSM), exercised through the command as a process."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import rsa
from helpers.authorities import YEAR, issued
from helpers.desk import known
from helpers.tokens_of_software import PIN, TOKEN, make_token, module

from compliance.signing.read import read_signatures
from compliance.verification import verify_sheet

Run = Callable[..., subprocess.CompletedProcess[str]]
NOW = ("--now", "2026-11-20T16:00:00Z")

ROOT = issued("Kelp Authority", ca=True, life=20 * YEAR)
ELLIPTIC = issued("Ada Quill", ROOT)
OTHER = issued("Cleo Client", ROOT, key=rsa.generate_private_key(65537, 2048))
WEAK = issued("Weak Key", ROOT, key=rsa.generate_private_key(65537, 1024))


@pytest.fixture(scope="module")
def token(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, str]:
    """With three keys and their certificates."""
    folder = tmp_path_factory.mktemp("token")
    return make_token(folder, keys={"ada": ELLIPTIC, "cleo": OTHER, "weak": WEAK})


@pytest.fixture
def signing(process: Run, desk: Callable[..., Path], token: Mapping[str, str]) -> Run:
    """`assess` a good slot with the token, the PIN through a pipe."""
    desk("good")

    def call(
        *more: str,
        pin: str = PIN,
        command: tuple[str, ...] = ("assess", "job.yaml", "--out", "out"),
    ) -> subprocess.CompletedProcess[str]:
        reading, writing = os.pipe()
        os.write(writing, f"{pin}\n".encode())
        os.close(writing)
        try:
            return process(
                *command,
                *NOW,
                *("--pkcs11-module", module(), "--pin-fd", str(reading), *more),
                env=dict(token),
                pass_fds=(reading,),
            )
        finally:
            os.close(reading)

    return call


def test_a_sheet_signed_and_countersigned_by_keys_in_a_token(signing: Run, tmp_path: Path) -> None:
    done = signing("--token", TOKEN, "--key-label", "ada")
    assert (done.returncode, done.stderr) == (0, "")
    sheet = next((tmp_path / "out").glob("*.pdf"))
    data = sheet.read_bytes()
    found = verify_sheet(data, trust=[ROOT.pem], rules=known()[1:])
    assert found.exit_code == 0, [step.result for step in found.steps]
    assert found.signatures[0].signer.name == "Ada Quill"
    done = signing("--key-label", "cleo", command=("countersign", str(sheet), "--as", "Client"))
    assert (done.returncode, done.stderr) == (0, "")
    found = verify_sheet(
        sheet.read_bytes(), trust=[ROOT.pem], client_trust=[ROOT.pem], rules=known()[1:]
    )
    assert found.exit_code == 0, [step.result for step in found.steps]
    assert [each.role for each in found.signatures] == ["facility", "Client"]
    assert sheet.read_bytes().startswith(data)
    assert PIN.encode() not in sheet.read_bytes()


def test_the_certificate_may_come_from_a_file(
    process: Run, desk: Callable[..., Path], tmp_path: Path
) -> None:
    desk("good")
    folder = tmp_path / "bare"
    folder.mkdir()
    setting = make_token(folder, keys={"ada": ELLIPTIC}, certificates=False)
    (tmp_path / "chain.pem").write_bytes(ELLIPTIC.chain)
    reading, writing = os.pipe()
    os.write(writing, PIN.encode())
    os.close(writing)
    asked = ("assess", "job.yaml", "--out", "out", *NOW, "--pkcs11-module", module())
    done = process(
        *asked, "--chain", "chain.pem", "--pin-fd", str(reading), env=setting, pass_fds=(reading,)
    )
    os.close(reading)
    assert (done.returncode, done.stderr) == (0, "")
    data = next((tmp_path / "out").glob("*.pdf")).read_bytes()
    assert read_signatures(data).signatures[0].signer.name == "Ada Quill"


@pytest.mark.parametrize(
    ("more", "pin", "message"),
    [
        (("--token", "Other"), PIN, "has no token 'Other'; found 'Kelp token'; choose one with"),
        ((), PIN, "token 'Kelp token': more than one key; it has 'ada', 'cleo', 'weak'; choose"),
        (("--key-label", "bob"), PIN, "token 'Kelp token': no key 'bob'; it has 'ada', 'cleo'"),
        (("--key-label", "ada"), "wrong", "token 'Kelp token': the PIN is wrong; a token locks"),
        (("--key-label", "ada"), "", "has no PIN; expected it on line 1"),
        (("--key-label", "weak"), PIN, "its RSA key has 1024 bits; expected 2048 or more"),
        (
            ("--key-label", "ada", "--identity", "x"),
            PIN,
            "give --identity or --pkcs11-module, not both",
        ),
    ],
)
def test_what_cannot_sign_is_one_line(
    signing: Run, tmp_path: Path, more: tuple[str, ...], pin: str, message: str
) -> None:
    done = signing(*more, pin=pin)
    assert done.returncode == 2
    assert message in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert done.stdout == ""
    assert not list((tmp_path / "out").glob("*.pdf"))
    assert PIN not in done.stderr


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--pkcs11-module", "none.so"), "none.so: is not a file; expected a PKCS#11 module"),
        (("--pkcs11-module", "job.yaml"), "job.yaml: is not a working PKCS#11 module"),
        (("--token", "x"), "--token requires --pkcs11-module"),
        (("--key-label", "x"), "--key-label requires --pkcs11-module"),
        (("--pin-fd", "3"), "--pin-fd requires --pkcs11-module"),
    ],
)
def test_bad_calls_are_one_line(
    compliance: Run, desk: Callable[..., Path], arguments: tuple[str, ...], message: str
) -> None:
    pytest.importorskip("pkcs11")
    desk("good")
    done = compliance("assess", "job.yaml", "--out", "out", *NOW, *arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert message in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_without_a_terminal_the_pin_has_to_come_from_somewhere(
    process: Run, desk: Callable[..., Path], token: Mapping[str, str]
) -> None:
    desk("good")
    asked = ("assess", "job.yaml", "--out", "out", *NOW, "--pkcs11-module", module())
    done = process(*asked, env=dict(token), stdin=subprocess.DEVNULL)
    assert done.returncode == 2
    assert done.stderr == (
        "compliance: PIN of token 'Kelp token': no terminal to type it; "
        "give --pin-fd N, e.g. --pin-fd 3 3<pin.txt\n"
    )
