"""Make the vendored files of the web app from their npm packages, or check that they are still the same.

    python tools/vendor.py           fetch, bundle, write the files and their checksums
    python tools/vendor.py --check   fetch, bundle, and compare; writes nothing; exit 1 on any difference

For maintainers: needs node and npm. Users and contributors need neither, for the files are in the repository.
"""

from __future__ import annotations

import argparse
import hashlib
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
FOLDERS = (ROOT / "src/crashworthy/web/static/vendor", ROOT / "tests/web/vendor")


def install(folder: Path, packages: set[str]) -> None:
    """Install exact package versions into a folder; no package's own scripts are run."""
    (folder / "package.json").write_text('{"private": true}', encoding="utf-8")
    command = ["npm", "install", "--ignore-scripts", "--no-audit", "--no-fund", *sorted(packages)]
    subprocess.run(command, cwd=folder, check=True, timeout=300, stdout=subprocess.DEVNULL)


def bundle(folder: Path, entry: Path) -> bytes:
    """Bundle and minify an entry file with esbuild."""
    shutil.copyfile(entry, folder / entry.name)
    command = [folder / "node_modules/.bin/esbuild", entry.name, "--bundle", "--minify", "--format=esm"]
    made = subprocess.run(
        [*command, "--legal-comments=none"], cwd=folder, check=True, timeout=120, capture_output=True
    )
    return made.stdout


def main() -> int:
    """Write or compare every file of each VENDOR.toml."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--check", action="store_true", help="compare only")
    check = parser.parse_args().check
    different = sum(remake(vendor, check=check) for vendor in FOLDERS)
    return 1 if check and different else 0


def remake(vendor: Path, *, check: bool) -> int:
    """Write or compare the files of one folder; returns how many differ."""
    index = vendor / "VENDOR.toml"
    text = index.read_text(encoding="utf-8")
    rows = tomllib.loads(text)["file"]
    wanted = {f"{r['package']}@{r['version']}" for r in rows}
    wanted |= {f"{r['bundler']}@{r['bundler_version']}" for r in rows if "bundler" in r}
    different = 0
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        install(folder, wanted)
        for row in rows:
            if "bundle" in row:
                data = bundle(folder, vendor / row["bundle"])
            else:
                data = (folder / "node_modules" / row["package"] / row["source"]).read_bytes()
            digest = hashlib.sha256(data).hexdigest()
            same = digest == row["sha256"]
            different += not same
            print(f"{'same   ' if same else 'changed'} {len(data):>7} bytes  {row['name']}")
            if not check:
                (vendor / row["name"]).write_bytes(data)
                pattern = rf'(name = "{re.escape(row["name"])}"\n(?:(?!\[\[)[^\n]*\n)*?sha256 = )"[^"]*"'
                text = re.sub(pattern, rf'\g<1>"{digest}"', text)
    if not check:
        index.write_text(text, encoding="utf-8")
    return different


if __name__ == "__main__":
    sys.exit(main())
