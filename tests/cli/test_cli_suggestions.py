"""A wrong name in an option, a job or a readings file: the one that was likely meant is named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

MEANT = "did you mean 'rgb-8-narrow'?"


def test_of_an_option(compliance: Callable) -> None:
    done = compliance("plan", "web-srgb", "--encoding", "rgb-8-legal")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "compliance plan: invalid value for '--encoding': 'rgb-8-legal' is not one of "
        "'rgb-8-full', 'rgb-8-narrow', 'rgb-10-full', 'rgb-10-narrow', 'rgb-12-full', "
        f"'rgb-12-narrow', 'xyz-12-full'; {MEANT}; see 'compliance plan --help'\n"
    )


def test_of_an_option_where_nothing_is_near(compliance: Callable) -> None:
    done = compliance("plan", "web-srgb", "--encoding", "velocity")
    assert done.stderr.endswith("'xyz-12-full'; see 'compliance plan --help'\n")


def test_in_a_job(compliance: Callable, desk: Callable[..., Path]) -> None:
    job = desk("good")
    job.write_text(job.read_text().replace("rgb-8-full", "rgb-8-video"))
    done = compliance("assess", "job.yaml", "--no-sheet")
    assert done.returncode == 2
    assert done.stderr.startswith("job.yaml:3: encoding: ")
    assert done.stderr.endswith(f"; {MEANT}\n")


def test_in_a_readings_file(compliance: Callable, desk: Callable[..., Path]) -> None:
    (desk().parent / "limited.csv").write_text(
        "r,g,b,X,Y,Z,encoding\n255,255,255,95.0,100,108.8,rgb-8-limited\n"
    )
    done = compliance("assess", "limited.csv", "--rule", "tiny.yaml")
    assert done.returncode == 2
    assert done.stderr.endswith(f"; {MEANT}\n")
