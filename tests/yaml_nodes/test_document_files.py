"""Reading files within bounds; paths that stay in a folder; documents that mean harm."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from compliance.errors import InputError, MeterError
from compliance.yaml_nodes.read_file import read_bytes, read_nodes, read_yaml, resolve_inside


def refused(path: Path | str) -> str:
    with pytest.raises(MeterError) as failure:
        read_bytes(path, MeterError, "meter", limit=1024)
    return str(failure.value)


def test_a_file_is_read_up_to_its_limit(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"x" * 1024)
    assert len(read_bytes(path, InputError, "meter", limit=1024)) == 1024
    path.write_bytes(b"x" * 1025)
    assert refused(path) == f"{path}: is larger than 1 KiB, the most a meter file may have"


def test_what_is_no_file_is_told_so(tmp_path: Path) -> None:
    assert refused(tmp_path / "a") == f"{tmp_path}/a: no such meter file"
    assert refused(tmp_path) == f"{tmp_path}: is a folder; expected a meter file"
    assert "cannot be read as a meter file" in refused("a\0b")
    assert "cannot be read as a meter file" in refused("x" * 5000)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert refused(tmp_path / "pipe") == (
        f"{tmp_path}/pipe: is not a regular file; expected a meter file"
    )


def test_a_loop_of_links_is_an_error_like_any_other(tmp_path: Path) -> None:
    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    assert "cannot be read as a meter file" in refused(tmp_path / "a")
    assert resolve_inside(tmp_path, "a/c") is not None


@pytest.mark.parametrize("named", ["a", "a/b", "./a", "a/../b", "…", "a b"])
def test_what_stays_inside(tmp_path: Path, named: str) -> None:
    found = resolve_inside(tmp_path, named)
    assert found is not None
    assert found.is_relative_to(tmp_path)


@pytest.mark.parametrize("named", ["..", "../a", "a/../../b", "/etc/hostname", "/"])
def test_what_does_not(tmp_path: Path, named: str) -> None:
    assert resolve_inside(tmp_path, named) is None


def test_a_sibling_with_the_same_beginning_is_outside(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job-2").mkdir()
    assert resolve_inside(tmp_path / "job", "../job-2/a") is None


def test_a_link_that_leads_outside_is_outside(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "link").symlink_to(tmp_path)
    assert resolve_inside(tmp_path / "job", "link/a") is None


# ---------------------------------------------------------------- hostile documents


def problems(text: str, schema: str) -> list[str]:
    node = read_yaml(text.encode(), "a", InputError)
    with pytest.raises(InputError) as failure:
        read_nodes(node, "a", schema, InputError)
    return [str(problem) for problem in failure.value.problems]


def test_a_flood_of_unknown_keys_is_told_in_part() -> None:
    told = problems("".join(f"k{number}: 1\n" for number in range(20_000)), "meter")
    assert len(told) < 60
    assert "a:1: has 20000 unknown keys; expected one of meter, kind, make" in told[1]


@pytest.mark.parametrize("entry", ["a", "{}", "{a: 1}, a, []", "[a]"])
def test_a_long_list_is_no_work(entry: str) -> None:
    """Entries are not compared each with each, of whatever type they are."""
    slot = f"{{slot: 1, deliverable: [{f'{entry}, ' * 9000}]}}"
    text = f"job: a\nencoding: rgb-8-full\nslots: [{slot}]"
    told = problems(text, "job")
    assert len(told) <= 501
    assert told[0] == "a:1: has 500 errors or more; fix these first"
    assert told[1].startswith("a:3: slots[0].deliverable: a list with ")


def test_a_long_text_is_not_repeated() -> None:
    (told,) = problems(f"meter: a\nkind: colorimeter\nlowest: {'9' * 500_000}\n", "meter")
    assert len(told) < 200
