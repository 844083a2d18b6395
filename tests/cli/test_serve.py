"""The served app prints its address, for people and for machines, and stops when told."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
import urllib.request

import pytest


@pytest.mark.parametrize("as_json", [False, True], ids=["words", "json"])
def test_serve_prints_an_address_that_answers(fleet_folder, tmp_path, as_json):
    """The printed address shows the fleet; a free port is taken when asked for none."""
    words = [
        "serve",
        "--no-browser",
        "--port",
        "0",
        "--data",
        str(fleet_folder),
        *(["--json"] if as_json else []),
    ]
    with (tmp_path / "said").open("w+") as said:
        command = [sys.executable, "-m", "crashworthy.cli.main", *words]
        process = subprocess.Popen(
            command, stdout=said, stderr=subprocess.STDOUT, env={**os.environ, "NO_COLOR": "1"}
        )
        try:
            text = ""
            end = time.monotonic() + 40
            while (
                not text.rstrip().endswith(("}", ")")) and time.monotonic() < end and process.poll() is None
            ):
                time.sleep(0.1)
                text = (tmp_path / "said").read_text()
            address = json.loads(text)["address"] if as_json else text.split(" at ")[1].split()[0]
            with urllib.request.urlopen(address, timeout=20) as page:  # noqa: S310 - our own server
                assert "Gannet" in page.read().decode()
        finally:
            process.terminate()
            process.wait(20)
