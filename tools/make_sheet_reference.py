"""Write the field tables of docs/build-sheet.md anew from the sheet's own models (for maintainers).

Run from the top of the repository: ``python tools/make_sheet_reference.py``.
"""

from __future__ import annotations

from pathlib import Path

from crashworthy.build.reference import markdown

PAGE = Path(__file__).parent.parent / "docs" / "build-sheet.md"
BEGIN, END = "<!-- reference: begin -->\n", "<!-- reference: end -->\n"


def main() -> None:
    """Replace what stands between the two marks."""
    head, rest = PAGE.read_text(encoding="utf-8").split(BEGIN)
    tail = rest.split(END)[1]
    PAGE.write_text(f"{head}{BEGIN}{markdown()}{END}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
