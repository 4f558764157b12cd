"""Write tests/golden/VERSION/: sheets, a delivery and a deviation as this version signs them.

    .venv/bin/python scripts/make_golden.py             # VERSION is that of the package

Every later version must read these files. Run it for a release, and never again for a
version that is out: `expected.json` in the folder states the result of their verification, and
a test compares today's verification with it. The keys are made from numbers in this public
file: they prove nothing.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import pkcs12
from cryptography.x509.oid import NameOID

from compliance import __version__
from compliance.assessment import assess
from compliance.delivery.build import build_delivery, check_sheets, sign_delivery
from compliance.delivery.check import verify_delivery
from compliance.delivery.contents import packed_sheet
from compliance.delivery.stored_zip import zip_bytes
from compliance.documents import statement
from compliance.evidence.deviation_file import Acceptance, load_deviation, new_deviation
from compliance.job_file import load_job, only_slot
from compliance.meter_file import load_meter
from compliance.model import CHROMATICITY_FLOOR, Assessment, Deviation, Measurement
from compliance.model.results import Verification
from compliance.readings.load import load_readings
from compliance.report.verification import step_title
from compliance.rules.library import load_rule
from compliance.sheet.make_sheet import countersign_sheet, write_sheet
from compliance.signing.keys import Identity, load_identity
from compliance.verification import verify_sheet

ROOT = Path(__file__).resolve().parent.parent
JOB = ROOT / "demo" / "job.yaml"
PLACE = ROOT / "tests" / "golden" / __version__

MADE = datetime(2026, 11, 1, tzinfo=UTC)
ENDS = datetime(2036, 11, 1, tzinfo=UTC)
ASSESSED = datetime(2026, 11, 20, 16, 0, tzinfo=UTC)
ACCEPTED = datetime(2026, 11, 20, 17, 0, tzinfo=UTC)
AGAIN = datetime(2026, 11, 20, 18, 0, tzinfo=UTC)
UNTIL = date(2026, 12, 31)
PASSWORD = "for everybody to see"

MISSED = ("peak-level", "grey", "tracking")
"""Requirements that slot 3 of the demo does not meet."""


def identity(number: int, name: str, organisation: str) -> Identity:
    """A test identity, its key made from a small number."""
    key = ec.derive_private_key(number, ec.SECP256R1())
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.COMMON_NAME, name),
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, organisation),
        ]
    )
    usage = x509.KeyUsage(True, True, False, False, False, False, False, False, False)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(number)
        .not_valid_before(MADE)
        .not_valid_after(ENDS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .sign(key, hashes.SHA256())
    )
    protection = serialization.BestAvailableEncryption(PASSWORD.encode())
    data = pkcs12.serialize_key_and_certificates(name.encode(), key, certificate, None, protection)
    return load_identity(data, PASSWORD)


def assessed(slot: str, now: datetime, deviations: tuple[Deviation, ...] = ()) -> Assessment:
    """A slot of the demo, assessed for its first deliverable."""
    job = only_slot(load_job(JOB), slot)
    (entry,) = job.slots
    meter = load_meter(entry.meter) if entry.meter else None
    floor = meter.chromaticity_floor if meter else CHROMATICITY_FLOOR
    read = [
        load_readings(each.file, each.encoding, floor=floor) if each else None
        for each in (entry.readings, entry.before)
    ]
    return assess(
        Measurement(
            load_rule(entry.deliverables[0]),
            read[0],
            before=read[1],
            job=job,
            meter=meter,
            deviations=deviations,
        ),
        now=now,
    )


def accepted(of: Assessment, client: Identity) -> dict[str, bytes]:
    """Deviations for all requirements that slot 3 misses."""
    stated = statement(of)
    acceptance = Acceptance("for the offline edit only", client.signer.name, ACCEPTED, UNTIL)
    return {
        f"deviation-{name}.json": new_deviation(stated, name, acceptance, client) for name in MISSED
    }


def loaded(files: Mapping[str, bytes]) -> tuple[Deviation, ...]:
    """Deviations read from the bytes of their files."""
    with TemporaryDirectory() as folder:
        for name, data in files.items():
            Path(folder, name).write_bytes(data)
        return tuple(load_deviation(Path(folder, name)) for name in files)


def golden() -> dict[str, bytes]:
    """All files except `expected.json`."""
    facility = identity(11, "Test Facility", "For tests only")
    client = identity(12, "Test Client", "For tests only, as a client")
    deviations = accepted(assessed("3", ASSESSED), client)
    compliant = write_sheet(assessed("1", ASSESSED), identity=facility)
    missed = write_sheet(assessed("3", AGAIN, loaded(deviations)), identity=facility)
    undecided = write_sheet(assessed("4", ASSESSED), identity=facility, page="letter")
    signed_twice = countersign_sheet(compliant, identity=client, role="Client", when=AGAIN)
    verified = verify_sheet(undecided, trust=[facility.pem])
    packed = packed_sheet("undecided", undecided, verified)
    check_sheets([packed.sheet], "golden")
    return {
        "facility.pem": facility.pem,
        "client.pem": client.pem,
        "countersigned.pdf": signed_twice,
        "accepted.pdf": missed,
        "delivery.zip": zip_bytes(
            sign_delivery(build_delivery([packed]), facility, AGAIN), "delivery"
        ),
        "deviation.json": deviations[f"deviation-{MISSED[0]}.json"],
    }


# ---------------------------------------------------------------- expected results


def lasting(result: Verification) -> dict[str, Any]:
    """The parts of a sheet's verification that may change only when the engine is raised."""
    return {
        "exit_code": result.exit_code,
        "engine": result.engine,
        "number": result.number,
        "verdict": result.verdict,
        "disposition": result.disposition,
        "signed_by": [f"{each.signer.name} as {each.role}" for each in result.signatures],
        "steps": {step_title(step): str(step.status) for step in result.steps},
    }


def expected(folder: Path) -> dict[str, Any]:
    """The results of this version for the files in a folder."""
    trust, client = ([(folder / f"{name}.pem").read_bytes()] for name in ("facility", "client"))
    results: dict[str, Any] = {
        file.name: lasting(verify_sheet(file.read_bytes(), trust=trust, client_trust=client))
        for file in sorted(folder.glob("*.pdf"))
    }
    for file in sorted(folder.glob("*.zip")):
        delivery = verify_delivery(
            file, lambda data: verify_sheet(data, trust=trust), any_signer=True
        )
        results[file.name] = {
            "exit_code": delivery.exit_code,
            "sheets": {path: lasting(each) for path, each in delivery.sheets.items()},
        }
    for file in sorted(folder.glob("deviation*.json")):
        deviation = load_deviation(file)
        results[file.name] = {
            "requirement": deviation.requirement,
            "value": deviation.value,
            "signed_by": deviation.signer.name,
        }
    return results


def main() -> int:
    """Write the folder of this version."""
    PLACE.mkdir(parents=True, exist_ok=True)
    for name, data in golden().items():
        (PLACE / name).write_bytes(data)
    text = json.dumps(expected(PLACE), indent=2, ensure_ascii=False)
    (PLACE / "expected.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
