"""What cannot be used gets one clear message, exit status 2, and no traceback."""

from __future__ import annotations

import pytest

BAD = {
    "no such sheet": ("crash", "nowhere.toml"),
    "no such quad": ("due", "nobody"),
    "no crashes": ("crash", "gannet", "--n", "0"),
    "no workers": ("crash", "gannet", "--n", "4", "--workers", "0"),
    "no such scenario": ("crash", "gannet", "--scenario", "nowhere.toml"),
    "no such group": ("journal", "check", "gannet", "wing", "--looked", "2"),
    "no such severity": ("journal", "crash", "gannet", "boom"),
    "more loose than looked at": ("journal", "check", "gannet", "arm", "--looked", "1", "--loose", "3"),
    "bad time": ("journal", "pack", "gannet", "--when", "yesterday"),
    "minus minutes": ("journal", "pack", "gannet", "--minutes", "-3"),
    "no such event": ("journal", "undo", "ffffffffffff"),
    "no such journal file": ("journal", "import", "nowhere.jsonl"),
    "no such log": ("log", "nowhere.csv"),
    "no such database": ("due", "--store", "postgresql://127.0.0.1:1/none"),
    "odd database": ("due", "--store", "mysql://x/y"),
    "minus packs": ("kit", "gannet", "--packs", "-1"),
    "minus grams": ("kit", "gannet", "--grams", "-1"),
    "no such room": ("evidence", "cellar"),
    "no such option": ("due", "--sideways"),
    "busy folder": ("demo", "--no-browser"),
}


@pytest.mark.parametrize("words", BAD.values(), ids=BAD.keys())
def test_bad_words_get_one_message(demo, words):
    """Every mistake is answered in words on standard error with status 2."""
    said = demo(*words)
    assert said.code == 2, (said.out, said.err)
    assert said.out == ""
    assert said.err.strip()
    assert "Traceback" not in said.err


FILES = {
    "sheet.toml": b"schema = 1\nname = ",
    "binary.toml": bytes(range(256)),
    "typo.toml": b'schema = 1\nname = "T"\narms = { wheelbse = 220 }\n',
    "empty.csv": b"",
    "binary.csv": bytes(range(256)) * 40,
    "words.csv": b"once,upon\na,time\n",
    "binary.ulg": b"ULog\x01\x12\x35\x01" + bytes(64),
    "journal.jsonl": b"\xff\xfe\x00",
}


@pytest.mark.parametrize("name", FILES)
def test_broken_files_get_a_message_that_names_them(run, tmp_path, name):
    """A broken sheet, log or journal file is named with what is wrong in it."""
    path = tmp_path / name
    path.write_bytes(FILES[name])
    words = {
        "toml": ("build", path),
        "csv": ("log", path),
        "ulg": ("log", path),
        "jsonl": ("journal", "import", path),
    }
    said = run(*words[name.rsplit(".", 1)[1]])
    assert said.code in (1, 2)
    assert name in said.err + said.out
    assert "Traceback" not in said.err + said.out


def test_a_broken_drawing_names_the_plate_and_the_file(run, tmp_path, gannet_sheet):
    """A DXF that is none is told with the field that named it."""
    (tmp_path / "gannet").mkdir()
    for name in ("bottom.dxf", "top.dxf"):
        (tmp_path / "gannet" / name).write_text("0\nSECTION\nnonsense")
    sheet = tmp_path / "g.toml"
    sheet.write_text(gannet_sheet.read_text())
    said = run("build", sheet)
    assert said.code == 2
    assert "bottom" in said.err
    assert "Traceback" not in said.err
