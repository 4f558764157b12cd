"""The check of a deviation file, in words and as plain data."""

from __future__ import annotations

from typing import Any

from compliance.model.results import DeviationCheck
from compliance.model.signatures import Stamp
from compliance.plain_data import timestamp
from compliance.report import numbers


def check_lines(check: DeviationCheck) -> list[str]:
    """Describe a deviation, its signer and its validity, in lines; none if it is unreadable."""
    deviation, signature = check.deviation, check.signature
    if deviation is None or signature is None:
        return []
    signer = deviation.signer
    who = ", ".join(part for part in (signer.name, signer.organisation) if part)
    return [
        f"{check.file}: slot {deviation.slot} of {deviation.job}, {deviation.rule}",
        f"{deviation.title} ({deviation.requirement}): "
        f"{numbers.format_accepted_value(deviation)} accepted; "
        f"limit {numbers.format_finding_limits(deviation)}",
        f"Reason: {deviation.reason}",
        f"Accepted by {deviation.accepted_by}, {numbers.format_time(deviation.accepted)}, until "
        f"{numbers.format_date(deviation.until)}",
        f"For assessment {deviation.assessment}",
        f"Signed by {who}: {_trust(signature.trusted_as, check.any_signer)}",
        f"SHA-256 {signer.sha256}",
        *_stamped(signature.stamp, check.any_authority),
        _ending(check),
    ]


def _trust(trusted_as: str | None, anybody: bool) -> str:
    return trusted_as or ("not checked" if anybody else "not trusted")


def _stamped(stamp: Stamp | None, anybody: bool) -> list[str]:
    if stamp is None:
        return []
    trust = _trust(stamp.trusted_as, anybody)
    return [f"Stamped {numbers.format_time(stamp.time)} by {stamp.authority.name}: {trust}"]


def _ending(check: DeviationCheck) -> str:
    if check.code != 3:
        return "Valid." if check.code == 0 else "Not valid."
    if check.signature is not None and check.signature.trusted_as:
        return "Unchanged, but without a time stamp of a trusted authority."
    return "Unchanged; signer not checked: give the expected one with --client-trust CERTIFICATE."


def check_data(check: DeviationCheck) -> dict[str, Any]:
    """Return the result as plain data."""
    data: dict[str, Any] = {"file": check.file, "exit_code": check.code}
    if check.deviation is not None and check.signature is not None:
        signer, stamp = check.deviation.signer, check.signature.stamp
        data |= {
            "deviation": check.deviation.document["deviation"],
            "signer": {
                "name": signer.name,
                "organisation": signer.organisation,
                "sha256": signer.sha256,
            },
            "trusted": check.signature.trusted_as is not None,
            "stamped": timestamp(stamp.time if stamp else None),
            "stamp_trusted": stamp is not None and stamp.trusted_as is not None,
        }
    return data | {"faults": list(check.faults)}
