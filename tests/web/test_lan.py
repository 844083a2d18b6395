"""Phones in the local network: https by an authority of the laptop's own, bounded in what it can do."""

from __future__ import annotations

import base64
import hashlib
import ssl
import threading
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import httpx
import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from crashworthy.build.starter import starter
from crashworthy.errors import StoreError
from crashworthy.web.authority import LEAF_LASTS, Authority, lan_addresses
from crashworthy.web.lan import qr_svg, qr_text
from crashworthy.web.serve import bind, serve
from crashworthy.workshop.hall import Hall

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from playwright.sync_api import Playwright

NOW = datetime(2026, 5, 1, 12, tzinfo=UTC)
SECRET = "a quarry at noon"  # noqa: S105 - of somebody who does not exist


def verify(authority: Authority, chain: Path, name: str, at: datetime) -> None:
    """What a client does with the certificate it is shown, by another library's rules (RFC 5280)."""
    roots = Store([x509.load_pem_x509_certificate(authority.file.read_bytes())])
    leaf = x509.load_pem_x509_certificates(chain.read_bytes())[0]
    PolicyBuilder().store(roots).time(at).build_server_verifier(x509.DNSName(name)).verify(leaf, [])


def test_a_certificate_of_the_authority_is_good_for_its_name_and_time(tmp_path: Path) -> None:
    """A verifier that trusts the authority takes the certificate for its name only, and while it lasts."""
    authority = Authority(tmp_path, NOW)
    chain, _ = authority.leaf(["fleet.local"])
    verify(authority, chain, "fleet.local", NOW)
    for name, at in (("other.local", NOW), ("fleet.local", NOW + LEAF_LASTS + timedelta(days=1))):
        with pytest.raises(VerificationError):
            verify(authority, chain, name, at)


def test_the_authority_signs_for_private_places_only(tmp_path: Path) -> None:
    """Neither a public name nor a public address gets a certificate, and the authority itself says so."""
    authority = Authority(tmp_path, NOW)
    for name in ("example.org", "8.8.8.8", "2001:db8::1", "local.example.org", ""):
        with pytest.raises(StoreError):
            authority.leaf([name])
    root = x509.load_pem_x509_certificate(authority.file.read_bytes())
    bounds = root.extensions.get_extension_for_class(x509.NameConstraints)
    assert bounds.critical
    assert bounds.value.permitted_subtrees
    assert root.extensions.get_extension_for_class(x509.BasicConstraints).value.path_length == 0


def test_phones_need_not_be_told_twice(tmp_path: Path) -> None:
    """The authority stays the same; a certificate is made anew for another address or near its end."""
    first = Authority(tmp_path, NOW)
    one = first.leaf(["192.168.1.5"])[0].read_bytes()
    again = Authority(tmp_path, NOW + timedelta(days=30))
    assert again.fingerprint() == first.fingerprint()
    assert again.leaf(["192.168.1.5"])[0].read_bytes() == one
    assert again.leaf(["192.168.1.6"])[0].read_bytes() != one
    two = again.leaf(["192.168.1.6"])[0].read_bytes()
    late = Authority(tmp_path, NOW + LEAF_LASTS)
    assert late.leaf(["192.168.1.6"])[0].read_bytes() != two


def test_keys_are_for_their_owner_only(tmp_path: Path) -> None:
    """Neither key can be read by others on the machine."""
    authority = Authority(tmp_path / "authority", NOW)
    keys = [tmp_path / "authority" / "authority.key", authority.leaf(["10.0.0.7"])[1]]
    assert [k.stat().st_mode & 0o077 for k in keys] == [0, 0]
    assert authority.folder.stat().st_mode & 0o077 == 0


def test_addresses_of_the_local_network_are_private() -> None:
    """What would be served is a private address, never a loopback one."""
    for address in lan_addresses():
        assert not address.startswith("127.")


def test_the_code_to_scan_holds_the_address() -> None:
    """The QR code is drawn for terminal and page, and differs with the address."""
    assert qr_text("http://10.0.0.7:8766/").count("\n") > 10
    assert qr_svg("http://10.0.0.7:8766/").startswith("<svg")
    assert qr_svg("http://10.0.0.7:8766/") != qr_svg("http://10.0.0.8:8766/")


@pytest.fixture(scope="module")
def lan(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Authority]]:
    """The app over https on this machine's own address, with one account."""
    folder = tmp_path_factory.mktemp("lan")
    with Hall(folder) as hall:
        crew = hall.accounts.add_crew("Weir")
        hall.accounts.add_person("wren", SECRET, crew, "lead")
        hall.workshop_of(crew).add_quad(starter("Siskin"))
        authority = Authority(folder / "authority")
        listener = bind("127.0.0.1", 0)
        port = listener.getsockname()[1]
        listener.close()
        told: list[str] = []
        arguments: dict[str, Any] = {
            "port": port,
            "open_browser": False,
            "certificate": authority.leaf(["127.0.0.1"]),
            "authority": authority,
            "ready": told.append,
        }
        threading.Thread(target=serve, args=(hall,), kwargs=arguments, daemon=True).start()
        deadline = time.monotonic() + 20
        while not told and time.monotonic() < deadline:
            time.sleep(0.05)
        assert told == [f"https://127.0.0.1:{port}/"]
        yield told[0], authority


def test_a_client_that_trusts_the_authority_is_served(lan: tuple[str, Authority]) -> None:
    """With the authority's file the connection is trusted; without, it is refused."""
    address, authority = lan
    trusting = ssl.create_default_context(cafile=str(authority.file))
    with httpx.Client(verify=trusting) as client:
        assert client.get(f"{address}sign-in").status_code == 200
    with httpx.Client() as client, pytest.raises(httpx.ConnectError):
        client.get(f"{address}sign-in")


def test_the_page_for_phones_hands_out_the_certificate_and_nothing_else(lan: tuple[str, Authority]) -> None:
    """Plain http gives the five steps, the authority's certificate and its fingerprint; no fleet."""
    address, authority = lan
    port = int(address.rsplit(":", 1)[1].strip("/")) + 1
    with httpx.Client(base_url=f"http://127.0.0.1:{port}") as client:
        page = client.get("/")
        assert authority.fingerprint() in page.text.replace("<wbr>", "")
        assert address in page.text
        assert client.get("/authority.crt").content == authority.der()
        for path in ("/sign-in", "/api/fleet", "/quads", "/static/app.js"):
            assert client.get(path).status_code == 404


@pytest.mark.browser
def test_a_phone_that_trusts_the_authority_keeps_the_page(
    lan: tuple[str, Authority], play: Playwright, chromium_options: dict[str, Any]
) -> None:
    """Signed in over trusted https, the field page is kept for offline and an entry is made."""
    address, authority = lan
    root = x509.load_pem_x509_certificate(authority.file.read_bytes())
    spki = root.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    pin = base64.b64encode(hashlib.sha256(spki).digest()).decode()
    # The flag stands in for an authority installed on the phone: chains to this key are trusted.
    options = dict(chromium_options)
    options["args"] = [*options["args"], f"--ignore-certificate-errors-spki-list={pin}"]
    browser = play.chromium.launch(**options)
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.set_default_timeout(15_000)
    page.goto(f"{address}quads/siskin/field")
    page.get_by_label("Name").fill("wren")
    page.get_by_label("Password").fill(SECRET)
    page.get_by_role("button", name="Sign in").click()
    page.locator("#reach", has_text="opens without a network").wait_for()
    page.get_by_role("button", name="Pack", exact=True).click()
    page.locator("#pad-pack button").first.click()
    page.locator("#said", has_text="is in the journal").wait_for()
    assert page.evaluate("isSecureContext") is True
    browser.close()
