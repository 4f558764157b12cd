"""`compliance identity`: create and show the key and certificate that sign sheets."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from compliance.cli._files import check_folder, check_targets, write_new
from compliance.cli._identity_options import ask_password, default_identity, open_identity
from compliance.cli._options import now_option, replace_option, together
from compliance.cli._terminal import print_note, print_plain
from compliance.errors import IdentityError, UsageError
from compliance.signing.keys import Identity, load_identity, new_identity, new_request

PATH = click.Path(path_type=Path, dir_okay=False)
WHO = together(
    click.option("--name", required=True, help="Who signs, e.g. a person or a department."),
    click.option("--organisation", required=True, help="The facility."),
    click.option("--email", required=True, help="Where to ask about a signature."),
)
PASSWORD_FILE = click.option(
    "--password-file", type=PATH, help="File with the password on line 1; default: prompt."
)


@click.group("identity")
def command() -> None:
    """Create and show the identity that signs sheets: a key and its certificate.

    A self-issued certificate proves who signed and that nothing has changed since. Give
    clients its .pem file; they check sheets with 'verify --trust'. A facility can also use a
    certificate from an authority.
    """


@command.command("new")
@WHO
@click.option("--out", type=PATH, help="PKCS#12 file to write; default: your identity.")
@PASSWORD_FILE
@replace_option("Overwrite an existing identity.")
@now_option("Start of its validity as RFC 3339; default: now.")
def new(
    name: str,
    organisation: str,
    email: str,
    out: Path | None,
    password_file: Path | None,
    replace: bool,
    now: datetime,
) -> None:
    """Create a self-issued identity: a key and its certificate, protected by a password.

    The certificate alone is also written, as .pem, for those who check sheets.
    """
    place = out or default_identity()
    public = place.with_suffix(".pem")
    if public == place:
        raise UsageError(f"{place}: is the name of a certificate; expected e.g. identity.p12")
    check_folder(place.parent)
    check_targets((place, public), replace)
    password = ask_password(password_file, "Password of the new identity", confirm=True)
    data = new_identity(name, organisation, email, password, now)
    identity = load_identity(data, password, file=str(place))
    write_new({place: data, public: identity.pem}, replace=replace, private={place})
    print_plain(f"key and certificate  {place}")
    print_plain(f"certificate alone    {public}")
    _print_identity(identity)
    _warn_of_letters(name, organisation)


@command.command("request")
@WHO
@click.option("--out", type=PATH, required=True, help="PKCS#12 file for the key.")
@PASSWORD_FILE
@replace_option("Overwrite existing files.")
def request(
    name: str, organisation: str, email: str, out: Path, password_file: Path | None, replace: bool
) -> None:
    """Create a key and a request for its certificate, to send to an authority.

    The request is written beside the key, as .csr (PKCS#10). Sign with the key and the
    certificates that the authority returns: '--identity FILE --chain ANSWER.pem'.
    """
    asked = out.with_suffix(".csr")
    if asked == out:
        raise UsageError(f"{out}: is the name of a request; expected e.g. identity.p12")
    check_folder(out.parent)
    check_targets((out, asked), replace)
    password = ask_password(password_file, "Password of the new key", confirm=True)
    key, pem = new_request(name, organisation, email, password)
    write_new({out: key, asked: pem}, replace=replace, private={out})
    print_plain(f"key                  {out}")
    print_plain(f"request              {asked}")
    _warn_of_letters(name, organisation)


@command.command("show")
@click.argument("file", type=PATH, required=False)
@PASSWORD_FILE
@click.option("--chain", type=PATH, help="Certificates that FILE does not contain.")
@click.option("--pem", is_flag=True, help="Print the certificate instead, for 'verify --trust'.")
def show(file: Path | None, password_file: Path | None, chain: Path | None, pem: bool) -> None:
    """Show the identity in FILE; default: your identity."""
    identity = open_identity(file, password_file, chain)
    if identity is None:
        raise IdentityError(
            f"{default_identity()}: no identity; create one with 'compliance identity new'"
        )
    if pem:
        click.echo(identity.pem.decode(), nl=False)
        return
    print_plain(f"file                 {file or default_identity()}")
    _print_identity(identity)


def _warn_of_letters(*names: str) -> None:
    """Warn of letters in a signer's names that no type face here can draw."""
    from compliance.lettering.choose import advice, missing_letters

    if missing := missing_letters(names, ()):
        print_note(
            f"sheets show these names, and no type face here has {' '.join(missing[:12])}: "
            f"{advice(missing)}"
        )


def _print_identity(identity: Identity) -> None:
    signer = identity.signer
    for label, text in (
        ("name", signer.name),
        ("organisation", signer.organisation or "not stated"),
        ("e-mail", signer.email or "not stated"),
        ("issued by", "itself" if signer.self_issued else signer.issuer),
        ("valid", f"{signer.not_before:%Y-%m-%d} to {signer.not_after:%Y-%m-%d}"),
        ("SHA-256", signer.fingerprint),
    ):
        print_plain(f"{label:<20} {text}")
