"""Where everything came from, as labels and values: job, display, readings, meter, rule, software.

Page 1 names the most of it in short; the last pages have it all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from compliance.grading.deviation_check import end_of_day
from compliance.model import (
    Assessment,
    Certificate,
    Display,
    GradedReadings,
    Job,
    Meter,
    NotCovered,
    Outcome,
    People,
    Readings,
    ReadingsEntry,
    Rule,
    RuleFile,
    Slot,
    Uncertainty,
)
from compliance.model.stated import TOOL
from compliance.plain_data import digest
from compliance.quantities.catalogue import QUANTITIES
from compliance.report.numbers import (
    NOT_STATED,
    format_date,
    format_plain,
    format_sheet_number,
    format_time,
)
from compliance.report.report import Fact, Group
from compliance.report.verdict import failing
from compliance.report.words.en.grammar import capital, counted
from compliance.report.words.en.rules import (
    rule_name,
    target_facts,
)
from compliance.report.words.en.verdicts import BASIS_WORDS, outcome_word


def provenance(assessment: Assessment) -> tuple[Group, ...]:
    """All that is known of what the assessment rests on; the unknown says so."""
    groups = [
        Group("Job", tuple(_order(assessment.job))),
        Group("Suite and display", tuple(_display(assessment))),
        Group("Slot", tuple(_slot(assessment.slot))),
        Group("Slot's settings", tuple(_settings(assessment.slot))),
        Group("Readings", tuple(_readings(assessment))),
        Group("Meter", tuple(_meter(assessment))),
        Group("Rule", tuple(_rule(assessment.rule))),
        Group("Deviations", tuple(_deviations(assessment))),
        Group("Assessment", tuple(_software(assessment))),
    ]
    return tuple(group for group in groups if group.facts)


def fact(label: str, value: object, *, mono: bool = False) -> Fact:
    """A label and a stated value as print; None and nothing are `not stated`."""
    return Fact(label, text(value), mono, known=value not in (None, ""))


def text(value: object) -> str:
    """Any stated value as print."""
    if value in (None, ""):
        return NOT_STATED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return format_plain(value)
    if isinstance(value, datetime):
        return format_time(value)
    return format_date(value) if isinstance(value, date) else str(value)


def _measure(value: float | None, unit: str) -> str | None:
    return None if value is None else _amount(value, unit)


def _amount(value: float, unit: str) -> str:
    return f"{format_plain(value)}\u00a0{unit}"


def _order(job: Job | None) -> Iterable[Fact]:
    if job is None:
        yield fact("Job", None)
        return
    client, facility = job.client, job.facility
    yield fact("Reference", job.reference)
    yield fact("Title", job.title)
    yield fact("Client", client and client.name)
    yield fact("Client's contact", client and client.contact)
    if client and client.address:
        yield fact("Client's address", client.address)
    yield fact("Facility", facility and facility.name)
    yield fact("Its address", facility and facility.address)
    if facility and facility.contact:
        yield fact("Its contact", facility.contact)
    yield from _people(job)
    if job.procedure:
        yield fact("Procedure", job.procedure)


def _people(job: Job | None) -> Iterable[Fact]:
    people = job.people if job else People()
    yield fact("Measured by", _person(people.measured_by, people.measured_as))
    yield fact("Authorised by", _person(people.authorised_by, people.authorised_as))


def _person(name: str | None, function: str | None) -> str:
    return ", ".join(filter(None, (name, function)))


def _display(assessment: Assessment) -> Iterable[Fact]:
    job, slot = assessment.job, assessment.slot
    if job is None or slot is None:
        yield fact("Display", None)
        return
    display = slot.display
    yield fact("Suite", job.suite)
    yield fact("Surround", _measure(job.room.surround, "cd/m²"))
    yield fact("Ambient light", _measure(job.room.ambient, "lx"))
    yield fact("Make", display.make)
    yield fact("Model", display.model)
    yield fact("Serial number", display.serial)
    yield fact("Technology", display.technology)
    yield fact("Firmware", display.firmware)
    yield fact("Hours run", _measure(display.hours, "h"))


def _deviations(assessment: Assessment) -> Iterable[Fact]:
    """Who signed for what is accepted; the files are attached."""
    for number, each in enumerate(assessment.deviations, 1):
        who = ", ".join(filter(None, (each.signer.name, each.signer.organisation)))
        signed = f"deviation-{number}.json, accepted {format_time(each.accepted)}, signed by {who}"
        yield fact(each.title, signed)
        yield fact("Its reason", each.reason)
        yield fact("Certificate's SHA-256", each.signer.sha256, mono=True)


def _slot(slot: Slot | None) -> Iterable[Fact]:
    if slot is None:
        return
    yield fact("Slot", slot.name)
    yield fact("Calibrated", slot.calibrated)
    yield fact("Warm-up", _measure(slot.warm_up, "min"))
    if slot.nominal_peak is not None:
        yield fact("Nominal peak", _measure(slot.nominal_peak, "cd/m²"))
    for name, said in slot.declared.items():
        value = {1.0: "yes", 0.0: "no"}.get(said.value) or format_plain(said.value)
        words = name.replace("-", " ")
        yield fact(f"Declared: {words}", f"{value}, by {said.by}, {format_date(said.date)}")


def _settings(slot: Slot | None) -> Iterable[Fact]:
    if slot is None:
        return
    settings = list(_flat(slot.settings))
    if not settings:
        yield fact("Settings", None)
    for name, value in settings:
        yield fact(name.replace("_", " "), value)


def _flat(settings: Mapping[str, Any], above: str = "") -> Iterable[tuple[str, object]]:
    for name, value in settings.items():
        full = f"{above}{name}"
        if isinstance(value, Mapping):
            yield from _flat(value, f"{full}, ")
        elif isinstance(value, list | tuple):
            yield full, ", ".join(text(item) for item in value)
        else:
            yield full, value


def _readings(assessment: Assessment) -> Iterable[Fact]:
    slot, before = assessment.slot, assessment.before
    calibrated, earlier = (slot.readings, slot.before) if slot else (None, None)
    if assessment.heading == "before":
        yield from _one_set(assessment.state, earlier, "Readings before calibration")
    else:
        yield from _one_set(assessment.state, calibrated, "Readings")
    if before is not None:
        yield from _one_set(before, earlier, "Readings before calibration")


def _one_set(state: GradedReadings, entry: ReadingsEntry | None, name: str) -> Iterable[Fact]:
    readings = state.readings
    yield fact(name, f"{readings.file_name}, {len(readings)} rows")
    yield from _replaced(readings)
    yield fact("Measured", state.measured)
    if entry is not None:
        yield from _span(entry)
    yield fact("Encoding", readings.encoding.name)
    if entry is not None:
        yield fact("Light while measuring", entry.ambient)
        yield fact("Geometry", entry.geometry)
        yield from _climate(entry)
    yield fact("SHA-256", readings.sha256, mono=True)


def _span(entry: ReadingsEntry) -> Iterable[Fact]:
    for label, moment in (("Started", entry.started), ("Ended", entry.ended)):
        if moment is not None:
            yield fact(label, moment)


def _climate(entry: ReadingsEntry) -> Iterable[Fact]:
    if entry.temperature is not None:
        yield fact("Temperature", _amount(entry.temperature, "°C"))
    if entry.humidity is not None:
        yield fact("Relative humidity", _amount(entry.humidity, "%"))


MOST_REPLACED = 40
"""Replaced readings printed with their values."""


def _replaced(readings: Readings) -> Iterable[Fact]:
    """Readings that were replaced by others, with their values and why."""
    gone = readings.replaced
    if not gone:
        return
    yield fact("Replaced, not used", counted(len(gone), "row"))
    for each in gone[:MOST_REPLACED]:
        codes = " ".join(map(str, each.codes))
        xyz = " ".join(format_plain(value) for value in each.xyz)
        window = "" if math.isnan(each.window) else f", {format_plain(each.window)} %"
        where = f"{codes}, {each.position}{window}"
        yield fact(f"Line {each.line}", f"{where}: X Y Z {xyz} cd/m²; {each.reason}")
    if len(gone) > MOST_REPLACED:
        yield fact("Others", f"{len(gone) - MOST_REPLACED} more, in the readings attached")


def _meter(assessment: Assessment) -> Iterable[Fact]:
    meter = assessment.meter
    if meter is None:
        yield fact("Meter", None)
        return
    certificate = meter.certificate
    yield fact("Meter", f"{meter.name}, {meter.kind}")
    yield fact("Make and model", make_name(meter) or None)
    yield fact("Serial number", meter.serial)
    yield fact("Certificate", certificate and certificate.number)
    yield fact("Laboratory", certificate and certificate.laboratory)
    yield fact("Issued", certificate and certificate.issued)
    yield fact("Due", certificate and certificate.due)
    if certificate is not None:
        yield from _standing(certificate, assessment.state.measured)
    yield fact("Lowest measurable luminance", _measure(meter.lowest or None, "cd/m²"))
    if meter.correction:
        correction = (f"{name.replace('_', ' ')} {text(v)}" for name, v in _flat(meter.correction))
        yield fact("Correction", "; ".join(correction))
    yield from _uncertainty(meter.uncertainty)
    yield fact("Meter's SHA-256", digest(meter.document), mono=True)


def _standing(certificate: Certificate, measured: datetime | None) -> Iterable[Fact]:
    """Whether a certificate was in date at the time of measuring, and whose it is."""
    if certificate.due is not None and measured is not None:
        yield fact("In date when measured", measured < end_of_day(certificate.due))
    chain = [
        f"certificate {certificate.number}" if certificate.number else "a certificate",
        f"of {certificate.laboratory}" if certificate.laboratory else "",
    ]
    held = certificate.accreditation
    by = f"accredited by {held.body}, {held.number}" if held else "accreditation not stated"
    yield fact("Traceability", f"{' '.join(filter(None, chain))}; {by}")


def _uncertainty(stated: Uncertainty | None) -> Iterable[Fact]:
    if stated is None:
        yield fact("Uncertainty", None)
        return
    factor = f"(k\u00a0=\u00a0{format_plain(stated.k)})"
    if stated.luminance:
        bands = _bands((_amount(band.relative, "%"), band.start) for band in stated.luminance)
        dark = f", and {_amount(stated.dark, 'cd/m²')} in the dark" if stated.dark else ""
        yield fact("Luminance uncertainty", f"{bands}{dark} {factor}")
    if stated.chromaticity:
        bands = _bands((_pair(band.x, band.y), band.start) for band in stated.chromaticity)
        yield fact("Chromaticity uncertainty", f"{bands} {factor}")
    yield from _parts(stated, factor)
    if stated.correlation is not None:
        yield fact("Correlation of x, y", format_plain(stated.correlation))
    repeatability = _bands(
        (f"{_amount(band.relative, '%')}, {_pair(band.x, band.y)}", band.start)
        for band in stated.repeatability
    )
    yield fact("Repeatability", f"{repeatability} {factor}" if repeatability else None)


def _parts(stated: Uncertainty, factor: str) -> Iterable[Fact]:
    """What differs by level, in the last digit, and by hue; or what is assumed of it."""
    linearity, saturated = stated.linearity, stated.saturated
    light, colour = "all of luminance's, as none is stated", "a third of x's and y's (practice)"
    if linearity.relative is not None:
        light = f"{_amount(linearity.relative, '%')} of luminance {factor}"
    if linearity.xy is not None:
        colour = f"{format_plain(linearity.xy)} of x and y {factor}"
    yield fact("Levels differ by", f"{light}; {colour}")
    if linearity.reference is not None:
        yield fact("Found against", linearity.reference)
    digit = "as detected in the readings"
    if stated.resolution is not None:
        digit = _measure(stated.resolution, "cd/m²") or digit
    yield fact("Last digit", digit)
    if saturated is None:
        yield fact("More on saturated", None)
        return
    more = f", {_amount(saturated.relative, '%')} of luminance" if saturated.relative else ""
    yield fact("More on saturated", f"{_pair(saturated.x, saturated.y)}{more} {factor}")


def _pair(x: float, y: float) -> str:
    return f"x {format_plain(x)}, y {format_plain(y)}"


def _bands(bands: Iterable[tuple[str, float]]) -> str:
    """What holds from which luminance on."""
    return ", ".join(f"{words} from {_amount(start, 'cd/m²')}" for words, start in bands)


def _rule(rule: Rule) -> Iterable[Fact]:
    yield fact("Rule", rule_name(rule))
    yield fact("Title", rule.title)
    if rule.extends:
        yield fact("Extends", rule.extends)
    yield fact("Valid for", _measure(rule.valid_days, "days"))
    yield from (fact(label, value) for label, value in target_facts(rule.target))
    yield fact("Patch window", _measure(rule.window, "% of area"))
    for file in rule.files:
        yield fact("File", f"{file.path}, {_commit(file)}")
        yield fact("File's SHA-256", file.sha256, mono=True)
    yield fact("Whole rule's SHA-256", rule.digest, mono=True)


def _commit(file: RuleFile) -> str:
    """Where version control has a file; one that came with the tool goes by its version."""
    if file.commit is None:
        return "came with the software" if file.shipped else "under no version control"
    return f"commit {file.commit[:12]}" + (", with uncommitted changes" if file.dirty else "")


def _software(assessment: Assessment) -> Iterable[Fact]:
    yield fact("Sheet number", format_sheet_number(assessment.number))
    yield fact("Assessed", assessment.assessed)
    yield fact("Software", f"{TOOL.name} {TOOL.version}")
    yield fact("Engine", TOOL.engine)
    yield fact("Uncertainty", _propagation(assessment))


def _propagation(assessment: Assessment) -> str:
    """How probabilities and intervals came about; seed and draws are in the evidence."""
    if not assessment.draws:
        return "without measurement uncertainty"
    return "propagated through all readings by Monte Carlo (JCGM 101)"


def definitions(assessment: Assessment) -> tuple[Fact, ...]:
    """The quantities used, each with its definition and the document it rests on."""
    used = {finding.quantity for finding in assessment.state.findings}
    return tuple(
        Fact(row.title, f"{_unbroken(capital(row.definition))}. {capital(row.source)}.")
        for name, row in QUANTITIES.items()
        if name in used
    )


def _unbroken(words: str) -> str:
    """With no break inside of a sum or a difference."""
    for sign in "+−":
        words = words.replace(f" {sign} ", f"\u00a0{sign}\u00a0")
    return words


def bases(state: GradedReadings) -> tuple[Fact, ...]:
    """What the basis of a limit means, for those used."""
    used = {finding.basis for finding in state.findings}
    return tuple(Fact(word, capital(said)) for word, said in BASIS_WORDS.items() if word in used)


def not_covered(rule: Rule) -> tuple[NotCovered, ...]:
    """What the rule's documents ask and it does not test, as sentences begin."""
    return tuple(
        NotCovered(entry.clause, capital(entry.what), capital(entry.why))
        for entry in rule.not_covered
    )


# ---------------------------------------------------------------- page 1


def make_name(device: Display | Meter) -> str:
    """Make and model; empty if neither is known."""
    return " ".join(filter(None, (device.make, device.model)))


def device_name(display: Display, unnamed: str = "") -> str:
    """Make, model and serial number; `unnamed` where neither make nor model is known."""
    name = make_name(display) or unnamed
    serial = f"serial number {display.serial}" if display.serial else ""
    return ", ".join(filter(None, (name, serial)))


def asked(assessment: Assessment) -> Iterable[Fact]:
    """What was asked, and by whom."""
    job = assessment.job
    client, facility = (job.client, job.facility) if job else (None, None)
    yield fact("Client", ", ".join(filter(None, (client.name, client.contact))) if client else None)
    yield fact("Title", job and job.title)
    yield fact("Reference", job and job.reference)
    yield fact("Facility", facility and facility.name)
    yield fact("Address", facility and facility.address)
    yield from _people(job)


def measured(assessment: Assessment) -> Iterable[Fact]:
    """What was measured, when, and with what."""
    slot, meter = assessment.slot, assessment.meter
    device = device_name(slot.display) if slot else ""
    yield fact("Display", device or None)
    yield fact("Calibrated", slot and slot.calibrated)
    yield fact("Measured", assessment.state.measured)
    if assessment.before is not None:
        yield fact("Before calibration", _earlier(assessment.before))
    if assessment.verdict is Outcome.COMPLIANT:
        yield fact("Valid until", _until(assessment))
    meter_name = f"{meter.name}, serial number {text(meter.serial)}" if meter else None
    yield fact("Meter", meter_name)
    yield fact("Certificate", _certificate(meter))


def _earlier(before: GradedReadings) -> str:
    word = outcome_word(before.verdict, before.conditional)
    missed = len(failing(before.findings))
    return f"{word}, {missed} not met" if missed else word


def _until(assessment: Assessment) -> str | datetime | None:
    unending = assessment.valid_until is None and assessment.rule.valid_days is None
    return "no end set" if unending else assessment.valid_until


def _certificate(meter: Meter | None) -> str | None:
    certificate = meter.certificate if meter else None
    if certificate is None:
        return None
    due = f"recalibration due {format_date(certificate.due)}"
    return ", ".join(filter(None, (text(certificate.number), certificate.laboratory, due)))
