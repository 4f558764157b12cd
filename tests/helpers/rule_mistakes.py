"""Mistakes in rule files: the replaced text, its replacement, and the message."""

from __future__ import annotations

from helpers.sample_text import RULE, STEPS

LIMIT = "requirements.white-level.limits"
KINDS = "ramp, hues, saturations, list, positions, windows, repeats"

STRUCTURE = [
    # numbers
    ("max: 110", "max: a lot", f"sdr.yaml:26: {LIMIT}.max: 'a lot' is not "
     "a number; expected cd/m², e.g. max: 110"),
    ("max: 110", "max: '110'", f"sdr.yaml:26: {LIMIT}.max: '110' is not a "
     "number (quotes make it a text); expected cd/m², e.g. max: 110"),
    ("max: 110", "max: 110 cd/m²", f"sdr.yaml:26: {LIMIT}.max: '110 "
     "cd/m²' is not a number; expected cd/m², e.g. max: 110"),
    ("max: 110", "max: 1_10", f"sdr.yaml:26: {LIMIT}.max: '1_10' is not a "
     "number; expected cd/m², e.g. max: 110"),
    ("max: 110", "max: .inf", f"sdr.yaml:26: {LIMIT}.max: '.inf' is not a "
     "number; expected cd/m², e.g. max: 110"),
    ("max: 110", "max: 1e400", f"sdr.yaml:26: {LIMIT}.max: '1e400' is too large a number; "
     "expected cd/m², e.g. max: 110"),
    ("max: 110", "max: ", f"sdr.yaml:26: {LIMIT}.max: is empty; expected "
     "cd/m², e.g. max: 110"),
    ("max: 110", "max: null", f"sdr.yaml:26: {LIMIT}.max: is empty; "
     "expected cd/m², e.g. max: 110"),
    ("max: 110", "max: 110,5", f"sdr.yaml:26: {LIMIT}.5: unknown key '5'; "
     "a comma separates entries in brackets: write a decimal point, e.g. 1.5"),
    ("window: 100", "window: 99,5", "sdr.yaml:11: window: '99,5' is not a number (with a "
     "decimal point: 99.5); expected % of area, e.g. window: 100"),
    ("window: 100", "window: 0", "sdr.yaml:11: window: '0' is not above 0; "
     "expected % of area, e.g. window: 100"),
    ("window: 100", "window: 101", "sdr.yaml:11: window: '101' is above 100; "
     "expected % of area, e.g. window: 100"),
    ("confidence: 0.95", "confidence: 95", "sdr.yaml:12: decision.confidence: '95' is not below "
     "1; expected a probability above .5 and below 1, e.g. confidence: 0.95"),
    ("steps: 21", "steps: 2.5", "sdr.yaml:15: patches.grey.steps: '2.5' is not a whole number; "
     "expected a whole number, e.g. steps: 21"),
    ("revision: 1", "revision: 0", "sdr.yaml:3: revision: '0' is below 1; "
     "expected a whole number from 1, e.g. revision: 1"),
    ("revision: 1", "revision: first", "sdr.yaml:3: revision: 'first' is not a whole number; "
     "expected a whole number from 1, e.g. revision: 1"),
    # the unit that is expected is the quantity's
    ("{min: 1000}", "{min: high}", "sdr.yaml:44: requirements.contrast.limits.min: 'high' is not "
     "a number; expected a plain number, e.g. min: 1000"),
    ("nominal: 10, ", "nominal: dim, ", "sdr.yaml:45: requirements.surround.limits.nominal: "
     "'dim' is not a number; expected cd/m², e.g. nominal: 12"),
    ("{within: 5}]", "{within: some}]", "sdr.yaml:36: requirements.tracking.bands[1].within: "
     "'some' is not a number; expected %, e.g. within: 5"),
    # kinds of values
    ("limits: {max: 110}", "limits: 110", f"sdr.yaml:26: {LIMIT}: found "
     "'110'; expected a mapping, e.g. limits: {max: 110}"),
    ("max: 110", "max: [110]", f"sdr.yaml:26: {LIMIT}.max: found a list; "
     "expected cd/m², e.g. max: 110"),
    ("luminance: {white: 100}", "luminance: 100", "sdr.yaml:9: target.luminance: found '100'; "
     "expected a mapping with the white's luminance, e.g. luminance: {white: 100}"),
    ("white: d65", "white: [0.3127]", "sdr.yaml:7: target.white: a list with 1 entry; "
     "expected x and y, e.g. white: [0.3127, 0.329]"),
    ("white: d65", "white: {x: 1}", "sdr.yaml:7: target.white: found a mapping; expected a name "
     "or x and y, e.g. white: d65 or white: [0.3127, 0.329]"),
    ("hues: [red, green, blue]", "hues: red", "sdr.yaml:16: patches.primaries.hues: found 'red'; "
     "expected a list of hues, e.g. hues: [red, green, blue]"),
    ("hues: [red, green, blue]", "hues: []", "sdr.yaml:16: patches.primaries.hues: a list with "
     "no entries; expected a list of hues, e.g. hues: [red, green, blue]"),
    ("level: should", "above_black: on", "sdr.yaml:44: requirements.contrast.above_black: 'on' "
     "is neither true nor false; expected true or false, e.g. above_black: true"),
    ("valid_for: {days: 30}", "valid_for: 30", "sdr.yaml:4: valid_for: found '30'; expected a "
     "mapping with days, e.g. valid_for: {days: 30}"),
    # keys
    ("limits: {max: 110}", "limit: {max: 110}", "sdr.yaml:26: requirements.white-level.limit: "
     "unknown key 'limit'; did you mean 'limits'?"),
    ("max: 110", "mx: 110", f"sdr.yaml:26: {LIMIT}.mx: unknown key 'mx'; "
     "did you mean 'max'?"),
    ("max: 110", "colour: 110", f"sdr.yaml:26: {LIMIT}.colour: unknown "
     "key 'colour'; expected one of min, max, within, nominal, within_percent, box, exclusive"),
    ("valid_for", "valid-for", "sdr.yaml:4: valid-for: unknown key 'valid-for'; did you mean "
     "'valid_for'?"),
    ("title: SDR broadcast master, HD\n", "", "sdr.yaml:1: title: missing; expected a text, "
     "e.g. title: SDR broadcast master, HD"),
    ("rule: sdr\n", "", "sdr.yaml:1: rule: missing; expected small letters, digits and hyphens, "
     "e.g. rule: sdr-broadcast"),
    ("title: SDR", "tile: SDR", "sdr.yaml:2: tile: unknown key 'tile'; did you mean 'title'?"),
    ("blue: {nominal", "? [blue] : {nominal", "sdr.yaml:43: found a list in place of a key"),
    # names
    ("white-level:\n    quantity: luminance\n", "white-level:\n    quantity: luminanse\n",
     "sdr.yaml:24: requirements.white-level.quantity: unknown quantity 'luminanse'; did you mean "
     "'luminance'?"),
    ("level: should", "level: must", "sdr.yaml:44: requirements.contrast.level: unknown level "
     "'must'; did you mean 'shall'?"),
    ("level: should", "level: Should", "sdr.yaml:44: requirements.contrast.level: unknown level "
     "'Should'; did you mean 'should'?"),
    ("basis: digest", "basis: measured", "sdr.yaml:13: defaults.basis: unknown basis 'measured'; "
     "expected one of published, digest, memory, practice, house"),
    ("white: d65", "white: d64", "sdr.yaml:7: target.white: unknown white point 'd64'; did you "
     "mean 'd65'?"),
    ("primaries: bt709", "primaries: BT 709", "sdr.yaml:6: target.primaries: unknown primaries "
     "'BT 709'; did you mean 'bt709'?"),
    ("curve: bt1886", "curve: bt1866", "sdr.yaml:8: target.transfer.curve: unknown curve "
     "'bt1866'; did you mean 'bt1886'?"),
    ("rgb-10-narrow", "rgb-10", "sdr.yaml:10: signal.encoding: unknown encoding 'rgb-10'; did "
     "you mean 'rgb-10-full'?"),
    ("[red, green, blue]", "[red, gren, blue]", "sdr.yaml:16: patches.primaries.hues[1]: unknown "
     "hue 'gren'; did you mean 'green'?"),
    ("[red, green, blue]", "[red, red]", "sdr.yaml:16: patches.primaries.hues[1]: 'red' is "
     "listed twice"),
    ("[sides, corners]", "[sides, corner]", "sdr.yaml:18: patches.edges.positions[1]: unknown "
     "position 'corner'; did you mean 'corners'?"),
    ("repeats: 3, of: white", "repeats: 3, of: grey", "sdr.yaml:20: patches.again.of: unknown "
     "built-in set 'grey'; expected one of white, black, peak"),
    ("field: surround", "field: surrounds", "sdr.yaml:45: requirements.surround.field: unknown "
     "field of the job 'surrounds'; did you mean 'surround'?"),
    ("rule: sdr", "rule: SDR HD", "sdr.yaml:1: rule: 'SDR HD' does not fit; "
     "expected small letters, digits and hyphens, e.g. rule: sdr-broadcast"),
    ("  again: {", "  Again 2: {", "sdr.yaml:20: patches.Again 2: 'Again 2' is not a valid name; "
     "expected small letters, digits and hyphens, e.g. grey"),
    # texts
    ("title: SDR broadcast master, HD", 'title: "a\\u202eb"', "sdr.yaml:2: title: has the "
     "character U+202E, which cannot be printed"),
    ("title: SDR broadcast master, HD", 'title: "\\ud800"', "sdr.yaml:2: title: has the "
     "character U+D800, which cannot be printed"),
    ("title: SDR broadcast master, HD", 'title: " "', "sdr.yaml:2: title: an empty text; "
     "expected a text, e.g. title: SDR broadcast master, HD"),
    ("title: SDR broadcast master, HD", "title: " + "x" * 301, "sdr.yaml:2: title: a text of 301 "
     "characters; expected at most 300"),
    ("level: should", "change: {reason: a, agreed_by: b, date: 2026-02-30}", "sdr.yaml:44: "
     "requirements.contrast.change: is for a rule that extends another; this one does not\n"
     "sdr.yaml:44: requirements.contrast.change.date: '2026-02-30' is not a date; expected "
     "year-month-day, e.g. date: 2026-11-02"),
    # YAML
    ("title: SDR", "title: &a SDR", "sdr.yaml:2: '&a' is an anchor; write the value out each time"),
    ("title: SDR broadcast master, HD", "title: *a", "sdr.yaml:2: '*a' is an alias; write the "
     "value out"),
    ("title: SDR", "title: !!str SDR", "sdr.yaml:2: '!!str' is a tag; leave it out"),
    ("title: SDR", "<<: {a: b}\ntitle: SDR", "sdr.yaml:2: '<<' is a merge key; write the values "
     "out"),
    ("revision: 1", "revision: 1\ntitle: Again", "sdr.yaml:4: duplicate key 'title' (first in "
     "line 2)"),
    ("revision: 1", "revision: 1\n---\nrule: b", "sdr.yaml:4: a second document begins here; "
     "expected one per file"),
    ("title: SDR", "title: SDR: ", "sdr.yaml:2: invalid YAML: an extra colon, or a wrong "
     "indentation; put a text that contains ': ' in quotes"),
    ("revision: 1", "\trevision: 1", "sdr.yaml:3: invalid YAML: tab character; indent with spaces"),
    ("title: SDR", 'title: "SDR', "sdr.yaml:47: invalid YAML: a quote that is never closed"),
    ("{days: 30}", "{days: 30", "sdr.yaml:5: invalid YAML: a comma or a closing brace } is "
     "missing"),
    ("title: SDR", 'title: "\\U00110000"\nx: SDR', "sdr.yaml: invalid YAML: an unknown directive, "
     "or an unknown escape in a quoted text"),
    ("title: SDR", "title: \x07SDR", "sdr.yaml:2: has a control character, U+0007; this is not a "
     "text file"),
    (RULE, "", "sdr.yaml: is empty"),
    (RULE, "# a rule, one day\n", "sdr.yaml: contains only comments"),
    (RULE, "- rule\n", "sdr.yaml:1: found a list; expected a mapping of rule, title, revision, "
     "target and requirements"),
    (RULE, "[" * 40, "sdr.yaml:1: is nested deeper than 16 levels"),
]  # fmt: skip

SENSE = [
    # the file
    ("rule: sdr", "rule: hd", "sdr.yaml:1: rule: 'hd' is in a file named 'sdr.yaml'; expected "
     "rule: sdr, or another file name"),
    ("level: shall", "level: should", "sdr.yaml:21: requirements: no requirement is a shall, so "
     "every display would comply; expected at least one"),
    # the target
    ("  white: d65\n", "", "sdr.yaml:5: target.white: missing; expected a name or x and y, e.g. "
     "white: d65 or white: [0.3127, 0.329]"),
    ("curve: bt1886", "curve: power", "sdr.yaml:8: target.transfer.exponent: missing; the power "
     "curve needs one, e.g. exponent: 2.2"),
    ("curve: bt1886", "curve: bt1886, exponent: 2.2", "sdr.yaml:8: target.transfer.exponent: "
     "belongs to power, not bt1886; leave it out, or use {curve: power, exponent: …}"),
    ("curve: bt1886", "curve: srgb, black: lift", "sdr.yaml:8: target.transfer.black: 'lift' is "
     "not for srgb; expected one of add, none"),
    ("curve: bt1886}", "curve: pq}\n  scale: relative", "sdr.yaml:9: target.scale: pq is "
     "absolute; expected absolute, or leave the key out"),
    ("luminance: {white: 100}", "luminance: {white: 100, peak: 200}", "sdr.yaml:9: "
     "target.luminance.peak: belongs to pq; for bt1886 white is the highest level; leave the key "
     "out"),
    ("curve: bt1886}\n  luminance: {white: 100}", "curve: pq}\n  luminance: {white: 100, peak: 9}",
     "sdr.yaml:9: target.luminance.peak: 9 is below white 100; expected at least that"),
    ("  white: d65", "  white: d65\n  surround: 5", "sdr.yaml:8: target.surround: only affects "
     "the target of hlg, not of bt1886; to limit the room's surround write a requirement "
     "{quantity: recorded, field: surround, …}"),
    ("  white: d65", "  white: d65\n  container: none", "sdr.yaml:8: target.container: 'none' is "
     "for xyz-12-full; rgb-10-narrow needs primaries"),
    ("  white: d65", "  white: [0.7, 0.2]", "sdr.yaml:6: target.primaries: do not enclose the "
     "white [0.7, 0.2]; check both"),
    ("primaries: bt709", "primaries: {red: [0.64, 0.33], green: [0.64, 0.33], blue: [0.1, 0.1]}",
     "sdr.yaml:6: target.primaries: span no area; expected three different corners"),
    ("primaries: bt709", "primaries: {red: [0.74, 0.33], green: [0.3, 0.6], blue: [0.1, 0.1]}",
     "sdr.yaml:6: target.primaries: red [0.74, 0.33] is an impossible chromaticity; expected y "
     "above 0 and x + y at most 1"),
    ("rgb-10-narrow", "xyz-12-full", "sdr.yaml:10: signal.encoding: xyz-12-full carries dcdm or "
     "pq, not bt1886; expected e.g. rgb-10-full"),
    # sets
    ("  again: {", "  black: {", "sdr.yaml:20: patches.black: 'black' is a built-in set; choose "
     "another name"),
    ("ramp: neutral, steps: 21", "steps: 21", "sdr.yaml:15: patches.grey: needs one of ramp, "
     "hues, saturations, list, positions, windows, repeats, e.g. ramp: neutral"),
    ("ramp: neutral, steps: 21", "ramp: neutral, repeats: 3", "sdr.yaml:15: "
     "patches.grey.repeats: give ramp or repeats, not both"),
    ("ramp: neutral, steps: 21", "ramp: neutral", "sdr.yaml:15: patches.grey.steps: missing; "
     "ramp needs it, e.g. steps: 21"),
    ("steps: 21", "steps: 1", "sdr.yaml:15: patches.grey.steps: '1' is below 2; expected a whole "
     "number, e.g. steps: 21"),
    ("steps: 21", "steps: 21, signal: [0.5, 0.1]", "sdr.yaml:15: patches.grey.signal: [0.5, 0.1] "
     "does not rise; expected e.g. [0, 1]"),
    ("hues: [red, green, blue]", "hues: [red], of: white", "sdr.yaml:16: patches.primaries.of: "
     "does not go with hues; expected one of hues, neutral, window, pattern"),
    ("hues: [red, green, blue]", "hues: [red, green, blue], neutral: 150", "sdr.yaml:16: "
     "patches.primaries.neutral: 150 is above the target's highest level, 100 cd/m²"),
    ("windows: [1, 4, 10, 25]", "windows: [1], window: 5", "sdr.yaml:19: patches.sizes.window: "
     "does not go with windows; expected one of windows, of, pattern"),
    ("repeats: 3, of: white", "repeats: 3, of: peak", "sdr.yaml:20: patches.again.of: 'peak' is "
     "for pq and hlg, not bt1886; did you mean 'white'?"),
    ("patches/steps.yaml", "../steps.yaml", "sdr.yaml:17: patches.steps.list: '../steps.yaml' is "
     "outside the rule's folder; expected a file in it or below"),
    ("patches/steps.yaml", "/etc/hostname", "sdr.yaml:17: patches.steps.list: '/etc/hostname' is "
     "outside the rule's folder; expected a file in it or below"),
    ("patches/steps.yaml", "patches/stairs.yaml", "sdr.yaml:17: patches.steps.list: "
     "'patches/stairs.yaml': no such patch list file"),
    ("patches/steps.yaml", "patches", "sdr.yaml:17: patches.steps.list: 'patches': is a folder; "
     "expected a patch list file"),
    # requirements
    ("    quantity: delta-uv-star\n", "", "sdr.yaml:28: requirements.grey-balance.quantity: "
     "missing; expected quantity, e.g. quantity: luminance"),
    ("    limits: {max: 110}\n", "", "sdr.yaml:23: requirements.white-level: needs one of "
     "limits, bands, by_patch, e.g. limits: {max: 110}"),
    ("limits: {max: 110}", "limits: {max: 110}\n    bands: [{max: 110}]", "sdr.yaml:27: "
     "requirements.white-level.bands: give limits or bands, not both"),
    ("    over: white\n    limits", "    limits", "sdr.yaml:23: requirements.white-level.over: "
     "missing; luminance needs a set of patches, e.g. over: white"),
    ("over: black", "over: blck", "sdr.yaml:22: requirements.black-level.over: 'blck' is not a "
     "set of this rule; did you mean 'black'?"),
    ("[grey, steps]", "[grey, Step]", "sdr.yaml:35: requirements.tracking.over.patches[1]: 'Step' "
     "does not fit; expected small letters, digits and hyphens, e.g. grey"),
    ("[grey, steps]", "[grey, step]", "sdr.yaml:35: requirements.tracking.over.patches[1]: "
     "'step' is not a set of this rule; did you mean 'steps'?"),
    ("over: black", "over: nowhere", "sdr.yaml:22: requirements.black-level.over: 'nowhere' is "
     "not a set of this rule; expected one of grey, primaries, steps, edges, sizes, again, "
     "white, black, peak"),
    ("over: black", "over: peak", "sdr.yaml:22: requirements.black-level.over: 'peak' is for pq "
     "and hlg, not bt1886; did you mean 'white'?"),
    ("over: black", "over: {position: centre}", "sdr.yaml:22: "
     "requirements.black-level.over.patches: missing; expected a set, e.g. patches: grey"),
    ("{patches: grey, target: [1, 100]}", "{patches: grey, target: [100, 1]}", "sdr.yaml:30: "
     "requirements.grey-balance.over.target: [100, 1] is reversed; expected the smaller end "
     "first"),
    ("over: primaries", "over: {patches: primaries, except: blu}", "sdr.yaml:39: "
     "requirements.primary-level.over.except: 'blu' is not a patch of primaries; did you mean "
     "'blue'?"),
    ("      blue: {nominal: 7.2, within_percent: 5}\n", "", "sdr.yaml:40: "
     "requirements.primary-level.by_patch: has no limits for the patch 'blue'"),
    ("over: primaries\n", "over: white\n    statistic: mean\n", "sdr.yaml:41: "
     "requirements.primary-level.by_patch: need one value per patch (statistic each); expected "
     "e.g. limits: {max: 110}"),
    ("quantity: delta-uv-star\n    over: {patches: grey, target: [1, 100]}\n    reference: white",
     "quantity: delta-e-itp\n    over: {patches: grey, target: [1, 100]}\n    reference: centre",
     "sdr.yaml:31: requirements.grey-balance.reference: 'centre' does not go with delta-e-itp; "
     "expected one of target, adapted"),
    ("limits: {max: 110}", "limits: {max: 110}\n    reference: white", "sdr.yaml:27: "
     "requirements.white-level.reference: does not go with luminance; leave the key out"),
    ("quantity: chromaticity, over: white", "quantity: chromaticity, over: white, "
     "reference: centre", "sdr.yaml:27: requirements.white-chromaticity.reference: 'centre' "
     "compares positions, and over has only the centre; expected a set of positions, or another "
     "reference"),
    ("limits: {max: 110}", "limits: {max: 110}\n    floor: 1", "sdr.yaml:27: "
     "requirements.white-level.floor: does not go with luminance, but with luminance-error, "
     "chromaticity, chromaticity-difference, delta-uv-star, delta-e-itp, delta-e-2000, "
     "delta-e-uv, delta-e-ab, correlated-colour-temperature, duv"),
    ("limits: {max: 110}", "limits: {max: 110}\n    unit: lx", "sdr.yaml:27: "
     "requirements.white-level.unit: 'lx' is not the unit of luminance; expected cd/m², or leave "
     "the key out"),
    ("level: should", "statistic: mean", "sdr.yaml:44: requirements.contrast.statistic: 'mean' "
     "does not go with contrast, which is one value of all patches together; expected each"),
    ("over: white, limits: {box", "over: white, statistic: spread, limits: {box", "sdr.yaml:27: "
     "requirements.white-chromaticity.statistic: 'spread' does not go with chromaticity, which "
     "is an offset in x and y; expected each"),
    ("field: surround, ", "", "sdr.yaml:45: requirements.surround.field: missing; the quantity "
     "'recorded' needs it; expected one of surround, ambient, warm-up, hours, calibration-age"),
    ("field: surround", "field: surround, over: white", "sdr.yaml:45: requirements.surround.over: "
     "recorded uses no patches; leave the key out"),
    ("declaration: local-dimming-off, ", "", "sdr.yaml:46: requirements.dimming.declaration: "
     "missing; the quantity 'declared' needs it; expected the name of the slot's declaration, "
     "e.g. declaration: local-dimming-off"),
    ("quantity: contrast, ", "quantity: non-uniformity, over: white, ", "sdr.yaml:44: "
     "requirements.contrast.over: non-uniformity compares positions, and over has only the "
     "centre; expected a set of positions, e.g. {positions: [centre, corners], of: white}"),
    ("quantity: contrast, ", "quantity: fitted-exponent, ", "sdr.yaml:44: "
     "requirements.contrast.over: missing; fitted-exponent needs a set of patches, e.g. over: "
     "grey"),
    ("quantity: contrast, ", "quantity: fitted-exponent, over: {window: 10}, ", "sdr.yaml:44: "
     "requirements.contrast.over.patches: missing; expected a set, e.g. patches: grey"),
    ("quantity: contrast, ", "quantity: gamut-coverage, over: {window: 10}, ", "sdr.yaml:44: "
     "requirements.contrast.over.patches: missing; expected a set, e.g. patches: grey"),
    ("quantity: contrast, ", "quantity: gamut-coverage, over: white, ", "sdr.yaml:44: "
     "requirements.contrast.over: 'white' has no red, green, blue; expected a set of hues with "
     "red, green and blue, or leave the key out"),
    ("quantity: contrast, ", "quantity: gamut-coverage, over: [grey, primaries], ", "sdr.yaml:44: "
     "requirements.contrast.over: 'grey' has no red, green, blue; expected a set of hues with "
     "red, green and blue, or leave the key out"),
    ("quantity: contrast, ", "quantity: additivity, over: {patches: primaries, only: red}, ",
     "sdr.yaml:44: requirements.contrast.over: 'primaries' has no green, blue; expected a set of "
     "hues with red, green and blue, or leave the key out"),
    # limits
    ("max: 110", "exclusive: true", f"sdr.yaml:26: {LIMIT}: needs one of "
     "min, max, within, nominal, within_percent, box, e.g. limits: {max: 110}"),
    ("max: 110", "nominal: 100", f"sdr.yaml:26: {LIMIT}.nominal: needs "
     "within or within_percent, e.g. within: 5"),
    ("max: 110", "within_percent: 5", f"sdr.yaml:26: {LIMIT}.nominal: "
     "missing; within_percent needs it, e.g. nominal: 110"),
    ("max: 110", "min: 5, within: 3", f"sdr.yaml:26: {LIMIT}.within: give "
     "min or within, not both"),
    ("max: 110", "box: [0.1, 0.1]", f"sdr.yaml:26: {LIMIT}.box: does not fit: luminance is one "
     "number; expected e.g. {max: 110}"),
    ("box: [0.002, 0.002]", "max: 0.002", "sdr.yaml:27: "
     "requirements.white-chromaticity.limits.max: does not fit: chromaticity is an offset in x "
     "and y; expected e.g. {box: [0.002, 0.002]}"),
    ("max: 110", "min: 120, max: 110", f"sdr.yaml:26: {LIMIT}.min: 120 is above max 110; the "
     "smaller belongs to min"),
    ("max: 110", "min: 110, max: 110, exclusive: true", f"sdr.yaml:26: {LIMIT}.exclusive: min "
     "and max are both 110, and exclusive excludes 110 itself; correct min or max, or remove "
     "exclusive"),
    ("max: 110", "within: 5", f"sdr.yaml:26: {LIMIT}.within: is centred on 0, but luminance is "
     "never below 0; expected {max: 5}"),
    ("max: 110", "max: -1", f"sdr.yaml:26: {LIMIT}.max: can never be met: luminance is never "
     "below 0; expected e.g. {max: 110}"),
    # bands
    ("upto: 10, within: 10", "within: 10", "sdr.yaml:36: requirements.tracking.bands[0].upto: "
     "missing; every band but the last needs its upper end in cd/m², e.g. upto: 10"),
    ("{within: 5}]", "{upto: 100, within: 5}]", "sdr.yaml:36: "
     "requirements.tracking.bands[1].upto: the last band is open; leave upto out, or add a band "
     "after it"),
    ("{within: 5}]", "{upto: 5, within: 7}, {within: 5}]", "sdr.yaml:36: "
     "requirements.tracking.bands[1].upto: 5 is not above 10 before it"),
    # what belongs to house rules
    ("level: should", "withdraw: true", "sdr.yaml:44: requirements.contrast.withdraw: is for a "
     "rule that extends another; this one does not"),
    ("level: should", "change: {reason: a, agreed_by: b, date: 2026-11-02}", "sdr.yaml:44: "
     "requirements.contrast.change: is for a rule that extends another; this one does not"),
    ("window: 100", "changes: {window: {reason: a, agreed_by: b, date: 2026-11-02}}",
     "sdr.yaml:11: changes: is for a rule that extends another; this one does not"),
]  # fmt: skip

LISTS = [
    ("step-1: [102, 102, 102]", "step-1: [102, 102]", "patches/steps.yaml:4: patches.step-1: a "
     "list with 2 entries; expected three code values, e.g. step-1: [3794, 3960, 3890]"),
    ("[102, 102, 102]", "[102, 102, 1024]", "patches/steps.yaml:4: patches.step-1: [102, 102, "
     "1024] is outside rgb-10-full, which ends at 1023"),
    ("[102, 102, 102]", "[102, 102, -1]", "patches/steps.yaml:4: patches.step-1[2]: '-1' is "
     "below 0; expected a code value, e.g. 3960"),
    ("[102, 102, 102]", "[102, 102, 0x7F]", "patches/steps.yaml:4: patches.step-1[2]: '0x7F' is "
     "not a whole number; expected a code value, e.g. 3960"),
    ("[102, 102, 102]", "[205, 205, 205]", "patches/steps.yaml:5: patches.step-2: [205, 205, 205] "
     "is already the patch 'step-1'; keep one name"),
    ("encoding: rgb-10-full", "encoding: rgb-10-wide", "patches/steps.yaml:1: encoding: unknown "
     "encoding 'rgb-10-wide'; did you mean 'rgb-10-narrow'?"),
    (STEPS, "encoding: rgb-8-full\n", "patches/steps.yaml:1: patches: missing; expected a mapping "
     "of names and code values, e.g. patches: {white: [3794, 3960, 3890]}"),
]  # fmt: skip

EXTENDED = [
    ("extends: sdr@1", "extends: sdr", "house.yaml:2: extends: 'sdr' does not fit; expected a "
     "rule's id and revision, e.g. extends: sdr-broadcast@1"),
    ("extends: sdr@1", "extends: sdr@2", "house.yaml:2: extends: 'sdr@2': the search path "
     "has sdr@1; see what changed with: compliance rules diff sdr@2 sdr@1; then name sdr@1"),
    ("extends: sdr@1", "extends: sdr-braodcast@1", "house.yaml:2: extends: 'sdr-braodcast': no "
     "such rule on the search path; did you mean 'sdr-broadcast'?"),
    ("extends: sdr@1", "extends: house@3", "house.yaml:2: extends: circular parents: house → "
     "house"),
    ("extends: sdr@1\n", "", "house.yaml:1: target: missing; expected a mapping of primaries, "
     "white, transfer and luminance, e.g. target: {primaries: bt709, white: d65, transfer: "
     "{curve: bt1886}, luminance: {white: 100}}\nhouse.yaml:5: "
     "requirements.black-level.quantity: missing; expected quantity, e.g. quantity: luminance\n"
     "house.yaml:6: requirements.white-level.quantity: missing; expected quantity, e.g. "
     "quantity: luminance\nhouse.yaml:8: requirements.white-level.change: is for a rule that "
     "extends another; this one does not"),
    ("max: 0.04", "max: dark", "house.yaml:6: requirements.black-level.limits.max: 'dark' is not "
     "a number; expected cd/m², e.g. max: 110"),
    ("max: 0.04", "max: 0.06", "house.yaml:6: requirements.black-level.limits: not provably "
     "tighter than in sdr@1; expected a reason, e.g. change: {reason: …, agreed_by: …, date: "
     "2026-11-02}"),
    ("limits: {max: 0.04}", "over: white, level: should", "house.yaml:6: "
     "requirements.black-level.over: not provably tighter than in sdr@1 (nor is level); expected "
     "a reason, e.g. change: {reason: …, agreed_by: …, date: 2026-11-02}"),
    ("limits: {max: 0.04}", "withdraw: true", "house.yaml:6: requirements.black-level.change: "
     "missing; a withdrawal needs it, e.g. change: {reason: …, agreed_by: …, date: 2026-11-02}"),
    ("limits: {max: 120}", "withdraw: true\n    level: should", "house.yaml:9: "
     "requirements.white-level.level: a withdrawn requirement takes only change; leave the key "
     "out"),
    ("  white-level:", "  white-levle:", "house.yaml:9: requirements.white-levle.change: the "
     "parent has no 'white-levle'; did you mean 'white-level'?"),
    ("  black-level:", "  blacklevel:", "house.yaml:6: requirements.blacklevel: the parent has no "
     "'blacklevel'; did you mean 'black-level'? (a new requirement needs quantity)"),
    ("  black-level: {limits: {max: 0.04}}", "  black-level: {limits: {max: 0.04}}\n"
     "  gloss: {limits: {max: 1}}", "house.yaml:7: requirements.gloss: the parent has no 'gloss'; "
     "expected one of black-level, white-level, white-chromaticity, grey-balance, tracking, "
     "primary-level, contrast, surround, dimming (a new requirement needs quantity)"),
    ("    limits: {max: 120}\n", "", "house.yaml:8: requirements.white-level.change: the "
     "requirement is as in sdr@1; leave the change out"),
    ("revision: 3", "revision: 3\nwindow: 10", "house.yaml:5: window: not provably tighter than "
     "in sdr@1; expected a reason, e.g. changes: {window: {reason: …, agreed_by: …, date: "
     "2026-11-02}}"),
    ("revision: 3", "revision: 3\npatches: {grey: {ramp: neutral, steps: 11}}", "house.yaml:5: "
     "patches: not provably tighter than in sdr@1 (grey); expected a reason, e.g. changes: "
     "{patches: {reason: …, agreed_by: …, date: 2026-11-02}}"),
    ("revision: 3", "revision: 3\ntarget: {white: dci}", "house.yaml:5: target: not provably "
     "tighter than in sdr@1 (white); expected a reason, e.g. changes: {target: {reason: …, "
     "agreed_by: …, date: 2026-11-02}}"),
    ("revision: 3", "revision: 3\nchanges: {window: {reason: a, agreed_by: b, date: 2026-11-02}}",
     "house.yaml:5: changes.window: window is as in sdr@1; leave the entry out"),
]  # fmt: skip
