"""The order of the house: who imports what, who may touch the outside, how long a file may be."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "compliance"
LONGEST = 600

PRINTS_OR_EXITS = {"print", "input", "exit", "quit", "breakpoint"}
OUTSIDE_NAMES = {
    ("sys", "exit"),
    ("sys", "stdout"),
    ("sys", "stderr"),
    ("sys", "stdin"),
    ("sys", "argv"),
    ("os", "environ"),
    ("os", "getenv"),
    ("os", "_exit"),
    ("time", "time"),
    ("datetime", "now"),
    ("datetime", "utcnow"),
    ("datetime", "today"),
    ("date", "today"),
    ("Path", "home"),
}

ALLOWED = {("rules.git_history", "os.environ")}
"""Handed to git, less what would name another repository."""


def modules() -> Iterator[tuple[str, Path, ast.Module]]:
    """Every module of the package: dotted name below `compliance`, file, tree."""
    for file in sorted(PACKAGE.rglob("*.py")):
        parts = file.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        yield name, file, ast.parse(file.read_text(encoding="utf-8"))


def imports(name: str, file: Path, tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Absolute names of all imported modules, those in functions and for types included."""
    package = ["compliance", *name.split(".")] if name else ["compliance"]
    if file.name != "__init__.py":
        package = package[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                start = package[: len(package) - node.level + 1]
                base = ".".join([*start, base] if base else start)
            for alias in node.names:
                submodule = PACKAGE.parent.joinpath(*base.split("."), alias.name)
                is_module = submodule.is_dir() or submodule.with_suffix(".py").exists()
                yield node.lineno, f"{base}.{alias.name}" if is_module else base


def test_floors_of_the_house() -> None:
    """The contracts of `tool.importlinter` in pyproject.toml: who may import whom."""
    program = (
        "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "3 kept, 0 broken" in done.stdout


def test_only_the_command_line_touches_terminal_clock_and_environment() -> None:
    broken = []
    for name, file, tree in modules():
        if name == "cli" or name.startswith("cli."):
            continue
        for node in ast.walk(tree):
            touched = None
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
                touched = node.func.id if node.func.id in PRINTS_OR_EXITS else None
            elif isinstance(node, ast.Attribute):
                owner = node.value
                last = owner.id if isinstance(owner, ast.Name) else getattr(owner, "attr", "")
                if (last, node.attr) in OUTSIDE_NAMES or node.attr == "expanduser":
                    touched = f"{last}.{node.attr}"
            elif isinstance(node, ast.Name) and node.id == "SystemExit":
                touched = "SystemExit"
            if touched and (name, touched) not in ALLOWED:
                broken.append(f"{file.relative_to(ROOT)}:{node.lineno}: {touched}")
    assert not broken, "\n" + "\n".join(broken)


def test_no_file_is_too_long() -> None:
    files = [*PACKAGE.rglob("*.py"), *(ROOT / "scripts").glob("*"), *(ROOT / "demo").glob("*.py")]
    lengths = {
        str(file.relative_to(ROOT)): len(file.read_text(encoding="utf-8").splitlines())
        for file in files
        if file.is_file()
    }
    assert not {name: length for name, length in lengths.items() if length > LONGEST}


def test_no_relative_or_star_imports() -> None:
    broken = [
        f"{file.relative_to(ROOT)}:{node.lineno}"
        for _, file, tree in modules()
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.level or node.names[0].name == "*")
    ]
    assert not broken


def loaded_after(code: str) -> set[str]:
    """Top-level packages a fresh interpreter has loaded after running the code."""
    program = f"import sys\n{code}\nprint(*{{name.split('.')[0] for name in sys.modules}})"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return set(done.stdout.splitlines()[-1].split())


HEAVY = {
    "bidi", "colour", "cryptography", "PIL", "pikepdf", "pyhanko", "reportlab", "scipy",
    "uharfbuzz",
}  # fmt: skip


@pytest.mark.parametrize(
    "code",
    [
        "import compliance",
        "import compliance.cli",
        "from compliance import load_rule; load_rule('web-srgb')",
        "from compliance import assess",
    ],
)
def test_light_ways_load_nothing_heavy(code: str) -> None:
    assert not loaded_after(code) & HEAVY


HELP = "from compliance.cli import command; command.main(['--help'], standalone_mode=False)"


@pytest.mark.parametrize("code", ["import compliance", HELP])
def test_importing_the_package_loads_not_even_numpy(code: str) -> None:
    assert not loaded_after(code) & {"numpy", "jsonschema", "yaml"}


def test_jsonschema_is_loaded_when_a_file_is_read() -> None:
    code = "import compliance.job_file, compliance.meter_file, compliance.rules.library"
    assert "jsonschema" not in loaded_after(code)
    assert "jsonschema" in loaded_after(
        f"{code}; compliance.load_meter('demo/meters/filter-colorimeter.yaml')"
    )


LIGHT = {
    "numpy", "yaml", "cattrs", "attr", "attrs", "typing_extensions", "rfc8785",
    "jsonschema", "jsonschema_specifications", "referencing", "rpds", "idna",
    "tzdata",  # names of zones, no code
    "_distutils_hack",  # of the environment
}  # fmt: skip
"""Libraries on the way to an assessment, with what they import themselves."""


def test_an_assessment_loads_few_libraries() -> None:
    code = (
        "import sys; sys.path.insert(0, 'tests')\n"
        "from helpers.demo_slots import assessed; assessed('1', draws=100)"
    )
    assert loaded_after(code) & packages_distributions().keys() <= {*LIGHT, "compliance"}


def test_public_names_are_what_they_say() -> None:
    import compliance

    for name in compliance.__all__:
        assert getattr(compliance, name) is not None
    assert set(compliance.__all__) <= set(dir(compliance))
    with pytest.raises(AttributeError, match="no attribute 'nonsense'"):
        compliance.nonsense  # noqa: B018


def test_the_contributors_page_names_every_part() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    parts = {name.split(".")[0] for name, *_ in modules() if name}
    assert not [part for part in parts if f"`{part}`" not in text and f"`{part}/`" not in text]


def test_what_is_imported_is_declared() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"]
    needed = {named(each) for each in [*project["dependencies"], *extras["pkcs11"]]}
    with_dev = needed | {named(each) for each in extras["dev"]}
    distributions = packages_distributions()
    missing = []
    for folder, declared in (("compliance", needed), ("scripts", with_dev), ("tests", with_dev)):
        for file in (ROOT / folder).rglob("*.py"):
            for line, imported in imports("", file, ast.parse(file.read_text(encoding="utf-8"))):
                top = imported.split(".")[0]
                homes = {named(each) for each in distributions.get(top, ())}
                if homes and not homes & (declared | {"deliverable-compliance"}):
                    missing.append(f"{file.relative_to(ROOT)}:{line}: {top}")
    assert not missing, "\n".join(["not in pyproject.toml:", *missing])


def named(requirement: str) -> str:
    """The normalised name of a distribution, from a requirement or a name (PEP 503)."""
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found is not None
    return re.sub(r"[-_.]+", "-", found.group()).lower()
