"""Write THIRD-PARTY.md: what an installation brings along, with its licence, from the packages' own metadata.

    python tools/notices.py

Run it in an environment with the extras installed. Files kept in the repository come from VENDOR.toml.
"""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
INSIDE = {"cascadio": "wheels carry OpenCASCADE: LGPL-2.1 with the Open CASCADE exception"}
"""What a wheel carries beyond what its metadata says."""

VENDOR = ROOT / "src/crashworthy/web/static/vendor/VENDOR.toml"


def name_of(requirement: str) -> str:
    """The package a requirement is about."""
    return re.split(r"[\s;<>=!~\[(]", requirement.strip(), maxsplit=1)[0]


def licence(package: str) -> str:
    """What the package's metadata says its licence is."""
    meta = distribution(package).metadata
    if expression := meta.get("License-Expression"):
        return str(expression)
    classes = [c for c in meta.get_all("Classifier") or [] if c.startswith("License ::")]
    if classes:
        return "; ".join(c.rpartition(" :: ")[2] for c in classes)
    said = (meta.get("License") or "").strip().partition("\n")[0]
    return said if 0 < len(said) < 30 and "opyright" not in said else "see its licence file"


def closure(wanted: list[str]) -> dict[str, str]:
    """Every package these need, with its licence; those of other platforms are left out."""
    found: dict[str, str] = {}
    todo = [name_of(w) for w in wanted]
    while todo:
        name = re.sub(r"[-_.]+", "-", todo.pop().lower())
        if name in found:
            continue
        try:
            needed = distribution(name).requires or []
        except PackageNotFoundError:
            continue
        found[name] = licence(name)
        todo += [name_of(r) for r in needed if "extra ==" not in r]
    return found


def main() -> None:
    """Write the file."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"]]
    for extra in project["optional-dependencies"].values():
        wanted += extra
    lines = ["# Third-party notices", ""]
    lines += [
        "Made by `tools/notices.py` from the packages' own metadata; their licence texts come with them.",
        "",
    ]
    lines += ["| package | licence |", "|---|---|"]
    for name, said in sorted(closure(wanted).items()):
        more = f"; {INSIDE[name]}" if name in INSIDE else ""
        lines.append(f"| {name} | {said}{more} |")
    lines += ["", "Kept in this repository, each with its licence text beside it:", ""]
    lines += ["| file | package | version | licence |", "|---|---|---|---|"]
    for row in tomllib.loads(VENDOR.read_text(encoding="utf-8"))["file"]:
        if not row["name"].endswith(".LICENSE"):
            lines.append(f"| {row['name']} | {row['package']} | {row['version']} | {row['licence']} |")
    (ROOT / "THIRD-PARTY.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
