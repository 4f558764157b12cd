"""Any character of a file may be wrong: the answer is a complaint about the file, or none."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from helpers.sample_text import HOUSE, JOB, METER, RULE, STEPS, rule_folder, write
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from compliance.errors import InputError
from compliance.job_file import job_from_document, load_job
from compliance.meter_file import load_meter, meter_from_document
from compliance.plain_data import canonical_bytes
from compliance.rules import git_history
from compliance.rules.library import load_rule, rule_from_resolved

BUDGET = settings(
    max_examples=250,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)

PIECES = st.one_of(
    st.sampled_from(list(" \n\t:,-?[]{}'\"\\#&*!|>%@`~<=.0159eE_+xyz/\r\0")),
    st.sampled_from(
        ["---", "...", "%YAML 1.9\n", "<<", "null", "1e999", "\\U00110000", "- ", "? "]
    ),
    st.characters(),
)
"""What a character may turn into; YAML's own signs most often."""

LOADERS: dict[str, tuple[str, Callable[[Path], Any]]] = {
    "sdr.yaml": (RULE, load_rule),
    "house.yaml": (HOUSE, load_rule),
    "patches/steps.yaml": (STEPS, lambda path: load_rule(path.parent.parent / "sdr.yaml")),
    "job.yaml": (JOB, load_job),
    "meter.yaml": (METER, load_meter),
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with every file in order; git is not asked, for speed."""
    monkeypatch.setattr(git_history, "_ask", lambda *_: None)
    rule_folder(tmp_path, house=HOUSE, job=JOB, meter=METER)
    return tmp_path


@pytest.mark.parametrize("name", LOADERS)
@BUDGET
@given(data=st.data())
def test_a_mutated_file_is_told_or_taken(folder: Path, name: str, data: st.DataObject) -> None:
    text, load = LOADERS[name]
    place = data.draw(st.integers(0, len(text)), label="place")
    length = data.draw(st.sampled_from([1, 1, 1, 0, 2, 20]), label="taken out")
    piece = data.draw(st.one_of(PIECES, st.just("")), label="put in")
    changed = text[:place] + piece + text[place + length :]
    (folder / name).write_bytes(changed.encode("utf-8", "surrogatepass"))
    try:
        load(folder / name)
    except InputError as error:
        assert error.problems
        for problem in error.problems:
            assert "\n" not in str(problem)
            assert "\n" not in problem.message
    finally:
        write(folder, {name: text})


@BUDGET
@given(data=st.binary(max_size=200))
def test_any_bytes_are_told_or_taken(folder: Path, data: bytes) -> None:
    (folder / "meter.yaml").write_bytes(data)
    with pytest.raises(InputError):
        load_meter(folder / "meter.yaml")


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)


def spoilt(data: Any, draw: Callable[[st.SearchStrategy[Any]], Any]) -> Any:
    """A copy with one value somewhere replaced."""
    if isinstance(data, dict) and data and draw(st.integers(0, 5)):
        key = draw(st.sampled_from(sorted(data)))
        return {**data, key: spoilt(data[key], draw)}
    if isinstance(data, list) and data and draw(st.integers(0, 5)):
        place = draw(st.integers(0, len(data) - 1))
        return [*data[:place], spoilt(data[place], draw), *data[place + 1 :]]
    return draw(JSON)


@pytest.mark.parametrize("name", ["house.yaml", "job.yaml", "meter.yaml"])
@BUDGET
@given(data=st.data())
def test_spoilt_evidence_is_told_or_taken(folder: Path, name: str, data: st.DataObject) -> None:
    back: Callable[[Any], Any]
    if name == "house.yaml":
        whole, back = load_rule(folder / name).resolved, rule_from_resolved
    elif name == "job.yaml":
        whole, back = load_job(folder / name).document, lambda d: job_from_document(d, "job.json")
    else:
        whole, back = load_meter(folder / name).document, lambda d: meter_from_document(d, "m", "")
    wrong = spoilt(json.loads(canonical_bytes(whole)), data.draw)
    try:
        back(wrong)
    except InputError as error:
        assert error.problems
