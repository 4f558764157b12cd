"""Where everything came from, as labels and values: job, display, readings, meter, rule, software.

Page 1 names the most of it in short; the last pages have it all.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from compliance.model import (
    Assessment,
    Change,
    Display,
    GradedReadings,
    Job,
    Meter,
    Outcome,
    ReadingsEntry,
    Rule,
    RuleFile,
    Slot,
    Uncertainty,
)
from compliance.quantities.catalogue import QUANTITIES
from compliance.report.numbers import (
    NOT_STATED,
    format_date,
    format_plain,
    format_requirement_limits,
    format_time,
)
from compliance.report.report import Fact, Group
from compliance.report.verdict import failing
from compliance.report.words.en.grammar import capital, listed
from compliance.report.words.en.rules import (
    changed_requirement,
    changed_words,
    departing,
    target_facts,
)
from compliance.report.words.en.verdicts import BASIS_WORDS, outcome_word

MOST_NAMED = 4
"""Departures named in one line on page 1."""


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


def text(value: object) -> str:
    """Any stated value as print; None is `not stated`."""
    if value is None or value == "":
        return NOT_STATED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return format_plain(value)
    return str(value)


def _measure(value: float | None, unit: str) -> str:
    return NOT_STATED if value is None else f"{format_plain(value)}\u00a0{unit}"


def _order(job: Job | None) -> Iterable[Fact]:
    if job is None:
        yield Fact("Job", NOT_STATED)
        return
    client, facility = job.client, job.facility
    yield Fact("Reference", job.reference)
    yield Fact("Title", text(job.title))
    yield Fact("Client", text(client and client.name))
    yield Fact("Client's contact", text(client and client.contact))
    if client and client.address:
        yield Fact("Client's address", client.address)
    yield Fact("Facility", text(facility and facility.name))
    yield Fact("Its address", text(facility and facility.address))
    if facility and facility.contact:
        yield Fact("Its contact", facility.contact)
    yield from _people(job)


def _people(job: Job | None) -> Iterable[Fact]:
    yield Fact("Measured by", text(job and job.people.measured_by))
    yield Fact("Authorised by", text(job and job.people.authorised_by))


def _display(assessment: Assessment) -> Iterable[Fact]:
    job, slot = assessment.job, assessment.slot
    if job is None or slot is None:
        yield Fact("Display", NOT_STATED)
        return
    display = slot.display
    yield Fact("Suite", text(job.suite))
    yield Fact("Surround", _measure(job.room.surround, "cd/m²"))
    yield Fact("Ambient light", _measure(job.room.ambient, "lx"))
    yield Fact("Make", text(display.make))
    yield Fact("Model", text(display.model))
    yield Fact("Serial number", text(display.serial))
    yield Fact("Technology", text(display.technology))
    yield Fact("Firmware", text(display.firmware))
    yield Fact("Hours run", _measure(display.hours, "h"))


def _deviations(assessment: Assessment) -> Iterable[Fact]:
    """Who signed for what is accepted; the files are attached."""
    for number, each in enumerate(assessment.deviations, 1):
        who = ", ".join(filter(None, (each.signer.name, each.signer.organisation)))
        signed = f"deviation-{number}.json, accepted {format_time(each.accepted)}, signed by {who}"
        yield Fact(each.title, signed)
        yield Fact("Its reason", each.reason)
        yield Fact("Certificate's SHA-256", each.signer.sha256, mono=True)


def _slot(slot: Slot | None) -> Iterable[Fact]:
    if slot is None:
        return
    yield Fact("Slot", slot.name)
    yield Fact("Calibrated", format_time(slot.calibrated))
    yield Fact("Warm-up", _measure(slot.warm_up, "min"))
    for name, said in slot.declared.items():
        value = {1.0: "yes", 0.0: "no"}.get(said.value) or format_plain(said.value)
        words = name.replace("-", " ")
        yield Fact(f"Declared: {words}", f"{value}, by {said.by}, {format_date(said.date)}")


def _settings(slot: Slot | None) -> Iterable[Fact]:
    if slot is None:
        return
    settings = list(_flat(slot.settings))
    if not settings:
        yield Fact("Settings", NOT_STATED)
    for name, value in settings:
        yield Fact(name.replace("_", " "), value)


def _flat(settings: Mapping[str, Any], above: str = "") -> Iterable[tuple[str, str]]:
    for name, value in settings.items():
        full = f"{above}{name}"
        if isinstance(value, Mapping):
            yield from _flat(value, f"{full}, ")
        elif isinstance(value, list | tuple):
            yield full, ", ".join(text(item) for item in value)
        else:
            yield full, text(value)


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
    file = readings.file.replace("\\", "/").rsplit("/", 1)[-1]
    yield Fact(name, f"{file}, {len(readings)} rows")
    yield Fact("Measured", format_time(state.measured))
    yield Fact("Encoding", readings.encoding.name)
    if entry is not None:
        yield Fact("Light while measuring", text(entry.ambient))
        yield Fact("Geometry", text(entry.geometry))
    yield Fact("SHA-256", readings.sha256, mono=True)


def _meter(assessment: Assessment) -> Iterable[Fact]:
    meter = assessment.meter
    if meter is None:
        yield Fact("Meter", NOT_STATED)
        return
    certificate = meter.certificate
    yield Fact("Meter", f"{meter.name}, {meter.kind}")
    make = " ".join(filter(None, (meter.make, meter.model)))
    yield Fact("Make and model", make or NOT_STATED)
    yield Fact("Serial number", text(meter.serial))
    yield Fact("Certificate", text(certificate and certificate.number))
    yield Fact("Laboratory", text(certificate and certificate.laboratory))
    yield Fact("Issued", format_date(certificate.issued if certificate else None))
    yield Fact("Due", format_date(certificate.due if certificate else None))
    yield Fact("Tells from dark", _measure(meter.lowest or None, "cd/m²"))
    if meter.correction:
        correction = (f"{name.replace('_', ' ')} {v}" for name, v in _flat(meter.correction))
        yield Fact("Correction", "; ".join(correction))
    yield from _uncertainty(meter.uncertainty)
    yield from _timing(meter)
    stated = assessment.document.get("meter") or {}
    yield Fact("Meter's SHA-256", text(stated.get("digest")), mono=True)


def _uncertainty(stated: Uncertainty | None) -> Iterable[Fact]:
    if stated is None:
        yield Fact("Uncertainty", NOT_STATED)
        return
    factor = f"(k\u00a0=\u00a0{format_plain(stated.k)})"
    if stated.luminance:
        bands = _bands((_percent(band.relative), band.start) for band in stated.luminance)
        dark = f", and {_measure(stated.dark, 'cd/m²')} in the dark" if stated.dark else ""
        yield Fact("U of luminance", f"{bands}{dark} {factor}")
    if stated.chromaticity:
        bands = _bands((_pair(band.x, band.y), band.start) for band in stated.chromaticity)
        yield Fact("U of x, y", f"{bands} {factor}")
    if stated.saturated:
        yield Fact("More on saturated", f"{_pair(*stated.saturated)} {factor}")
    if stated.correlation is not None:
        yield Fact("Correlation of x, y", format_plain(stated.correlation))
    repeatability = _bands(
        (f"{_percent(band.relative)}, {_pair(band.x, band.y)}", band.start)
        for band in stated.repeatability
    )
    yield Fact("Repeatability", f"{repeatability} {factor}" if repeatability else NOT_STATED)


def _percent(share: float) -> str:
    return _measure(share, "%")


def _pair(x: float, y: float) -> str:
    return f"x {format_plain(x)}, y {format_plain(y)}"


def _bands(bands: Iterable[tuple[str, float]]) -> str:
    """What holds from which luminance on."""
    return ", ".join(f"{words} from {_measure(start, 'cd/m²')}" for words, start in bands)


def _timing(meter: Meter) -> Iterable[Fact]:
    """How long a patch stood before it was read, and the reading took."""
    if meter.settle is not None:
        yield Fact("Wait per patch", _measure(meter.settle, "s"))
    if meter.reading_time:
        bands = _bands((_measure(seconds, "s"), start) for start, seconds in meter.reading_time)
        yield Fact("Time per reading", bands)


def _rule(rule: Rule) -> Iterable[Fact]:
    yield Fact("Rule", f"{rule.id}, revision {rule.revision}")
    yield Fact("Title", rule.title)
    if rule.extends:
        yield Fact("Extends", rule.extends)
    yield Fact("Verdict's life", _measure(rule.valid_days, "days"))
    yield from (Fact(label, value) for label, value in target_facts(rule.target))
    yield Fact("Patch window", _measure(rule.window, "% of area"))
    for file in rule.files:
        yield Fact("File", f"{file.path}, {_commit(file)}")
        yield Fact("File's SHA-256", file.sha256, mono=True)
    yield Fact("Whole rule's SHA-256", rule.digest, mono=True)


def _commit(file: RuleFile) -> str:
    """Where version control has a file; one that came with the tool goes by its version."""
    if file.commit is None:
        return "came with the software" if file.shipped else "under no version control"
    return f"commit {file.commit[:12]}" + (", with uncommitted changes" if file.dirty else "")


def _software(assessment: Assessment) -> Iterable[Fact]:
    document = assessment.document
    tool = document.get("tool")
    tool = tool if isinstance(tool, Mapping) else {}
    software = " ".join(str(tool[key]) for key in ("name", "version") if tool.get(key))
    yield Fact("Sheet number", assessment.number)
    yield Fact("Assessed", format_time(assessment.assessed))
    yield Fact("Software", software or NOT_STATED)
    yield Fact("Engine", text(tool.get("engine")))
    yield Fact("Uncertainty", _draws(document))


def _draws(document: Mapping[str, Any]) -> str:
    """How probabilities and intervals came about."""
    if not document.get("draws"):
        return "without measurement uncertainty"
    return f"{document['draws']} draws of all readings (JCGM 101), seed\u00a0{document.get('seed')}"


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


def changes(rule: Rule) -> tuple[Fact, ...]:
    """The stated departures of a house rule from its parent."""
    return tuple(_departure(change, rule) for change in rule.changes)


def _departure(change: Change, rule: Rule) -> Fact:
    """A stated change: the requirement by its title, its limits now, why, who agreed and when."""
    requirement = changed_requirement(change, rule)
    now = ""
    if requirement is not None and not change.withdrawn:
        unit = QUANTITIES[requirement.quantity].unit
        now = f"Now {'; '.join(format_requirement_limits(requirement, unit))}. "
    agreed = f"agreed by {change.agreed_by}, {format_date(change.date)}"
    return Fact(changed_words(change, rule), f"{now}{capital(change.reason)} ({agreed}).")


# ---------------------------------------------------------------- page 1


def device_name(display: Display, unnamed: str = "") -> str:
    """Make, model and serial number; `unnamed` where neither make nor model is known."""
    name = " ".join(filter(None, (display.make, display.model))) or unnamed
    serial = f"serial number {display.serial}" if display.serial else ""
    return ", ".join(filter(None, (name, serial)))


def facility_name(job: Job | None) -> str:
    """The facility that measured."""
    return text(job and job.facility and job.facility.name)


def asked(assessment: Assessment) -> Iterable[Fact]:
    """What was asked, and by whom."""
    job, rule = assessment.job, assessment.rule
    client = job.client if job else None
    who = text(client and client.name)
    if client and client.contact:
        who += f", {client.contact}"
    yield Fact("Client", who)
    yield Fact("Title", text(job and job.title))
    yield Fact("Reference", text(job and job.reference))
    yield Fact("Deliverable", rule.title)
    extends = f", extends {rule.extends}" if rule.extends else ""
    yield Fact("Rule", f"{rule.id}, revision {rule.revision}{extends}")
    if departures := departing(rule):
        yield Fact("Departs in", listed(departures, MOST_NAMED))
    yield Fact("Facility", facility_name(job))
    yield Fact("Address", text(job and job.facility and job.facility.address))
    yield from _people(job)


def measured(assessment: Assessment) -> Iterable[Fact]:
    """What was measured, when, and with what."""
    job, slot, meter = assessment.job, assessment.slot, assessment.meter
    device = device_name(slot.display) if slot else ""
    yield Fact("Display", device or NOT_STATED)
    yield Fact("Slot", text(slot and slot.name))
    yield Fact("Suite", text(job and job.suite))
    yield Fact("Calibrated", format_time(slot.calibrated if slot else None))
    yield Fact("Measured", format_time(assessment.state.measured))
    if assessment.before is not None:
        yield Fact("Before that", _earlier(assessment.before))
    yield Fact("Assessed", format_time(assessment.assessed))
    if assessment.verdict is Outcome.COMPLIANT:
        yield Fact("Valid until", _until(assessment))
    named = f"{meter.name}, serial number {text(meter.serial)}" if meter else NOT_STATED
    yield Fact("Meter", named)
    yield Fact("Certificate", _certificate(assessment))


def _earlier(before: GradedReadings) -> str:
    word = outcome_word(before.verdict, before.conditional)
    missed = len(failing(before.findings))
    return f"{word}, {missed} not met" if missed else word


def _until(assessment: Assessment) -> str:
    if assessment.valid_until is None:
        return "no end set" if assessment.rule.valid_days is None else NOT_STATED
    return format_time(assessment.valid_until)


def _certificate(assessment: Assessment) -> str:
    certificate = assessment.meter.certificate if assessment.meter else None
    if certificate is None:
        return NOT_STATED
    due = f"due {format_date(certificate.due)}"
    return ", ".join(filter(None, (text(certificate.number), certificate.laboratory, due)))
