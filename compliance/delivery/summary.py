"""The sheets of a delivery for other programs: `delivery.json` and the flat `delivery.csv`.

Both are made from the sheets alone, as the page is, and the tag manifest lists them, so that
the signature over the delivery covers them.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from compliance.delivery.departures import Departure
from compliance.documents import written
from compliance.plain_data import timestamp
from compliance.report.exports import csv_cell

if TYPE_CHECKING:
    from compliance.delivery.contents import Sheet
    from compliance.model.signatures import Signature

SCHEMA = "https://deliverable-compliance.invalid/schemas/delivery-1.json"
"""The name of the format; nothing is fetched from it."""


def summary(sheets: Sequence[Sheet]) -> dict[str, Any]:
    """Return `schemas/delivery.json` of the sheets as plain data.

    KeyError, TypeError or ValueError if an assessment is malformed.
    """
    return {"schema": SCHEMA, "sheets": list(map(_sheet, sheets))}


def summary_json(sheets: Sequence[Sheet]) -> bytes:
    """Write delivery.json."""
    return (json.dumps(summary(sheets), ensure_ascii=False, indent=1) + "\n").encode()


def _sheet(sheet: Sheet) -> dict[str, Any]:
    stated = sheet.assessment
    job, slot, rule, state = stated.job, stated.slot, stated.rule, stated.state
    display = written(stated.display) or {}
    return {
        "file": sheet.path,
        "sha256": sheet.files[sheet.path].sha256,
        "number": stated.number,
        "replaces": stated.replaces,
        "job": job.reference if job else None,
        "suite": job.suite if job else None,
        "slot": slot.slot if slot else None,
        "display": {key: display.get(key) for key in ("make", "model", "serial")},
        "rule": {
            "id": rule.id,
            "title": rule.title,
            "revision": rule.revision,
            "digest": rule.digest,
            "extends": rule.extends,
            "departures": list(map(_departure, sheet.departures)),
        },
        "heading": stated.heading,
        "verdict": str(state.verdict),
        "conditional": state.conditional,
        "reason": str(state.reason) if state.reason else None,
        "disposition": str(stated.disposition) if stated.disposition else None,
        "measured": timestamp(state.readings.measured),
        "assessed": timestamp(stated.assessed),
        "valid_until": timestamp(stated.valid_until),
        "deviations": [written(deviation) for deviation in stated.deviations],
        "signatures": list(map(_signature, sheet.verification.signatures)),
    }


def _departure(departure: Departure) -> dict[str, Any]:
    change = departure.change
    return {
        "subject": change.subject,
        "withdrawn": change.withdrawn,
        "now": departure.now,
        "parent": departure.parent,
        "reason": change.reason,
        "agreed_by": change.agreed_by,
        "date": change.date.isoformat(),
    }


def _signature(signature: Signature) -> dict[str, Any]:
    signer, stamp = signature.signer, signature.stamp
    return {
        "role": signature.role,
        "name": signer.name,
        "organisation": signer.organisation,
        "sha256": signer.fingerprint,
        "claimed": timestamp(signature.claimed),
        "stamped": timestamp(stamp.time) if stamp else None,
        "stamped_by": stamp.authority.name if stamp else None,
    }


# ---------------------------------------------------------------- the flat table

SAME = (
    *("number", "replaces", "job", "suite", "slot", "verdict", "conditional", "reason"),
    *("disposition", "heading", "measured", "assessed", "valid_until", "file", "sha256"),
)
"""Columns that are keys of a sheet."""
COLUMNS = (
    *SAME,
    *("display_make", "display_model", "display_serial"),
    *("rule", "revision", "rule_digest", "extends", "departures", "deviations", "signatures"),
)


def summary_csv(sheets: Sequence[Sheet]) -> bytes:
    """Write delivery.csv: a header row and a row per sheet; UTF-8, lines end in CR LF."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for sheet in summary(sheets)["sheets"]:
        row = _row(sheet)
        writer.writerow([csv_cell(row[column]) for column in COLUMNS])
    return out.getvalue().encode()


def _row(sheet: Mapping[str, Any]) -> dict[str, Any]:
    rule = sheet["rule"]
    return {
        **{key: sheet[key] for key in SAME},
        **{f"display_{key}": value for key, value in sheet["display"].items()},
        "rule": rule["id"],
        "revision": rule["revision"],
        "rule_digest": rule["digest"],
        "extends": rule["extends"],
        "departures": _joined(map(_departure_text, rule["departures"])),
        "deviations": _joined(map(_deviation_text, sheet["deviations"])),
        "signatures": _joined(map(_signature_text, sheet["signatures"])),
    }


def _joined(texts: Iterable[str]) -> str | None:
    return "; ".join(texts) or None


def _departure_text(departure: Mapping[str, Any]) -> str:
    """Describe a departure by `key=value`; a requirement by its limits."""
    now, parent = (_limits(departure[key]) for key in ("now", "parent"))
    became = "withdrawn" if departure["withdrawn"] else f"now={now}"
    agreed = f"agreed_by={departure['agreed_by']} date={departure['date']}"
    return f"{departure['subject']} {became} parent={parent} {agreed} {departure['reason']}"


def _limits(value: Any) -> str:
    if isinstance(value, Mapping):
        value = value.get("limits", value)
    return json.dumps(value, ensure_ascii=False)


def _deviation_text(deviation: Mapping[str, Any]) -> str:
    value = json.dumps(deviation["value"])
    signer = deviation["signer"]
    return (
        f"{deviation['requirement']} value={value} until={deviation['until']} "
        f"accepted_by={deviation['accepted_by']} signer={signer['name']} "
        f"checked={json.dumps(signer['checked'])} sha256={signer['sha256']}"
    )


def _signature_text(signature: Mapping[str, Any]) -> str:
    times = " ".join(f"{key}={signature[key]}" for key in ("claimed", "stamped") if signature[key])
    name = ", ".join(filter(None, (signature["name"], signature["organisation"])))
    return f"{signature['role']}: {name} sha256={signature['sha256']} {times}"
