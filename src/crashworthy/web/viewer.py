"""The 3D view as one script without imports, for a page that stands alone."""

from __future__ import annotations

import re
from functools import lru_cache
from importlib.resources import files

__all__ = ["viewer"]

_EXPORT = re.compile(r"export\s*\{([^{}]*)\};?\s*$")
_IMPORT = re.compile(r"^import\s*\{[^{}]*\}\s*from\s*'[^']*';\s*$", re.MULTILINE)


def _static(name: str) -> str:
    return files("crashworthy.web").joinpath("static", *name.split("/")).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def viewer() -> str:
    """The library's bundle, the stage and what tells the part under the pointer, joined.

    The bundle's names stay inside a function of their own; what it exports becomes constants.
    """
    bundle = _static("vendor/three.min.js")
    found = _EXPORT.search(bundle)
    assert found is not None  # noqa: S101 - a packaged file, whose digest a test holds
    pairs = [re.split(r"\s+as\s+", pair.strip()) for pair in found[1].split(",")]
    names = [pair[-1] for pair in pairs]
    given = ",".join(f"{pair[-1]}:{pair[0]}" for pair in pairs)
    library = f"const{{{','.join(names)}}}=(()=>{{{bundle[: found.start()]}\nreturn{{{given}}}}})();"
    own = [
        _IMPORT.sub("", _static(name)).replace("export async function", "async function")
        for name in ("stage.js", "view3d.js")
    ]
    # As a browser reads a file: its lines end with one letter, and the digest of the policy must agree.
    script = "\n".join([library, *own]).replace("\r\n", "\n")
    return script.replace("</script", "<\\/script")
