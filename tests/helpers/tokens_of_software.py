"""A token without hardware (SoftHSM, Debian's softhsm2), for a process of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization

from helpers.authorities import Holder
from helpers.signing import run, tool

__all__ = ["PIN", "TOKEN", "make_token", "module"]

TOKEN, PIN = "Kelp token", "4711-pin"

WRITE_CERTIFICATES = """
import sys, pkcs11
from pathlib import Path
module, token, pin, *files = sys.argv[1:]
with pkcs11.lib(module).get_token(token_label=token).open(rw=True, user_pin=pin) as session:
    for number, file in enumerate(files):
        session.create_object({
            pkcs11.Attribute.CLASS: pkcs11.ObjectClass.CERTIFICATE,
            pkcs11.Attribute.CERTIFICATE_TYPE: pkcs11.CertificateType.X_509,
            pkcs11.Attribute.TOKEN: True,
            pkcs11.Attribute.LABEL: f"certificate {number}",
            pkcs11.Attribute.SUBJECT: b"0\\x00",
            pkcs11.Attribute.VALUE: Path(file).read_bytes(),
        })
"""


def module() -> Path:
    """Path of the software token's module; the test is skipped if it is not installed."""
    tool("softhsm2-util")
    pytest.importorskip("pkcs11")
    return next(Path("/usr/lib").glob("**/libsofthsm2.so"))


def make_token(
    folder: Path, *, keys: dict[str, Holder], certificates: bool = True
) -> dict[str, str]:
    """Make the token with these keys, by label; returns the setting for processes that use it."""
    tokens, settings = folder / "tokens", folder / "softhsm2.conf"
    tokens.mkdir()
    settings.write_text(f"directories.tokendir = {tokens}\nobjectstore.backend = file\n")
    environment = {"SOFTHSM2_CONF": str(settings)}

    def util(*asked: str) -> None:
        done = run([tool("softhsm2-util"), *asked], environment)
        assert done.returncode == 0, done.stderr

    util("--init-token", "--free", "--label", TOKEN, "--pin", PIN, "--so-pin", "0000-so")
    written = []
    for number, (label, holder) in enumerate(keys.items(), 1):
        file = folder / f"key-{number}.pem"
        file.write_bytes(holder.key_file())
        util(
            *("--import", str(file), "--token", TOKEN, "--label", label),
            *("--id", f"0{number}", "--pin", PIN),
        )
        file.unlink()
        for place, certificate in enumerate((holder.certificate, *holder.above)):
            out = folder / f"certificate-{number}-{place}.der"
            out.write_bytes(certificate.public_bytes(serialization.Encoding.DER))
            written.append(out)
    if certificates:
        subprocess.run(
            [sys.executable, "-c", WRITE_CERTIFICATES, module(), TOKEN, PIN, *written],
            env=environment,
            check=True,
        )
    return environment
