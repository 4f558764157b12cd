"""Who signs for the facility, and who for its client."""

from __future__ import annotations

from typing import Any

import pytest
from helpers import near_limit
from helpers.authorities import issued, leaf, root
from helpers.signing import countersigned, identity, signed

from compliance.evidence.recompute import attachments
from compliance.model.results import Step
from compliance.report.verification import step_details, step_text
from compliance.signing.keys import Identity
from compliance.verification import verify_sheet

ME, CLIENT = [identity().pem], [identity("Cleo Client").pem]


def signer(data: bytes, **given: Any) -> Step:
    return verify_sheet(data, **given).steps[1]


def sheet(who: Identity | None = None) -> bytes:
    """Countersigned by the client, or another."""
    return countersigned(near_limit.sheet(), who)


@pytest.mark.parametrize(
    ("given", "status", "words"),
    [
        ({"trust": ME, "client_trust": CLIENT}, "ok", "among the trusted"),
        ({"trust": ME}, "unknown", "give the client's with --client-trust"),
        ({"trust": ME + CLIENT}, "unknown", "give the client's with --client-trust"),
        (
            {"trust": ME + CLIENT, "client_trust": ME},
            "unknown",
            "is trusted for the facility (--trust), not for the client",
        ),
        ({"trust": CLIENT, "client_trust": ME + CLIENT}, "fail", "not among the trusted"),
        ({"client_trust": CLIENT}, "unknown", "give the expected signer with --trust"),
        ({"any_signer": True}, "ok", "any signer"),
    ],
)
def test_each_is_trusted_in_a_role(given: dict[str, Any], status: str, words: str) -> None:
    step = signer(sheet(), **given)
    assert str(step.status) == status
    assert words in step_text(step)


@pytest.mark.parametrize(
    "given", [{"any_signer": True}, {"trust": ME, "client_trust": [identity("Nils").pem]}]
)
def test_a_colleague_does_not_countersign_for_the_client(given: dict[str, Any]) -> None:
    step = signer(sheet(identity("Nils")), **given)
    assert str(step.status) == "unknown"
    assert "countersigned for the facility's own organisation, so not for" in step_text(step)


def test_an_authority_of_the_facilitys_vouches_for_no_client() -> None:
    """What it issues may be the facility's under any name."""
    other = issued("Cleo Client", root()).identity
    data = countersigned(signed(who=leaf().identity), other)
    assert str(signer(data, trust=[root().pem]).status) == "unknown"
    assert (
        str(signer(data, trust=[root().pem], client_trust=CLIENT).status) == "fail"
    )  # the name of the client
    assert str(signer(data, trust=[root().pem], client_trust=[root().pem]).status) == "ok"


def test_a_signer_other_than_stated_is_told() -> None:
    """The job states Low House; nothing is wrong with a signature by somebody else for it."""
    files = attachments(near_limit.assessment())
    step = signer(signed(files, who=identity("Cleo Client")), trust=CLIENT)
    assert str(step.status) == "ok"
    assert step_details(step)[1:] == [
        "the certificate names Tidal Pictures; the job's facility is Low House"
    ]
    assert len(step_details(signer(signed(files), trust=ME))) == 1


def test_a_person_other_than_authorised_is_told() -> None:
    files = attachments(near_limit.assessment(people={"authorised_by": "Ada  quill, head"}))
    assert len(step_details(signer(signed(files), trust=ME))) == 1
    step = signer(signed(files, who=identity("Nils")), any_signer=True)
    assert step_details(step)[1:] == [
        "the certificate is of Nils; the job names as authorised: Ada  quill, head"
    ]
