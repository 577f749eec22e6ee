"""HTTPS with a real certificate, and what is said of one that can't be used."""

from __future__ import annotations

import http.client
import shutil
import ssl
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from shared_phone import Phone, Served, served

from papernudge.cli.app import run

if shutil.which("openssl") is None:
    pytest.skip("openssl, which makes the certificates, is not here", allow_module_level=True)


@dataclass(frozen=True)
class Pair:
    """A certificate for this machine, signed by itself, and its key."""

    certificate: Path
    key: Path


def made(folder: Path, name: str, *words: str) -> Pair:
    pair = Pair(folder / f"{name}.pem", folder / f"{name}-key.pem")
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256"),
            *("-days", "2", "-subj", "/CN=papernudge", "-addext", "subjectAltName=IP:127.0.0.1"),
            *("-keyout", str(pair.key), "-out", str(pair.certificate)),
            *(words or ("-nodes",)),
        ],
        check=True,
        capture_output=True,
    )
    return pair


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("certificates")


@pytest.fixture(scope="module")
def pair(folder: Path) -> Pair:
    return made(folder, "home")


@pytest.fixture(scope="module")
def server(pair: Pair) -> Iterator[Served]:
    words = ["--certificate", str(pair.certificate), "--key", str(pair.key)]
    with served(*words) as one:
        yield one


@pytest.fixture
def trusted(pair: Pair) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(pair.certificate))


def test_the_address_says_https_and_its_certificate_is_the_one_given(
    server: Served, trusted: ssl.SSLContext
) -> None:
    assert server.scheme == "https"
    assert Phone(server.port, trusted=trusted).ask("/").status == 403
    with pytest.raises(ssl.SSLCertVerificationError):
        Phone(server.port, trusted=ssl.create_default_context()).ask("/")


def test_the_cookie_never_travels_in_the_clear(server: Served, trusted: ssl.SSLContext) -> None:
    kept = Phone(server.port, trusted=trusted).ask(server.enter).headers["set-cookie"]
    said = {part.strip() for part in kept.split(";")}
    assert {"Secure", "HttpOnly", "SameSite=Strict"} <= said


def test_the_whole_road_works(server: Served, trusted: ssl.SSLContext) -> None:
    phone = server.phone(trusted)
    at = phone.send("kitchen-table.jpg")
    assert at.status == 200
    assert phone.press(at, do="more").sentence != at.sentence
    assert phone.ask(f"{at.url}/picture.jpg").headers["content-type"] == "image/jpeg"


def test_a_page_of_the_same_machine_without_https_is_another_site(
    server: Served, trusted: ssl.SSLContext
) -> None:
    phone = server.phone(trusted)
    plain = {"Origin": f"http://127.0.0.1:{server.port}"}
    assert phone.ask("/photo", "POST", b"x", plain).status == 403


def test_who_speaks_no_https_gets_nothing(server: Served, trusted: ssl.SSLContext) -> None:
    with pytest.raises((http.client.HTTPException, OSError)):
        Phone(server.port).ask(server.enter)
    assert server.phone(trusted).ask("/").status == 200


def refused(pair: Pair, capsys: pytest.CaptureFixture[str]) -> str:
    words = ["--certificate", str(pair.certificate), "--key", str(pair.key)]
    assert run(["phone", "--host", "127.0.0.1", "--port", "0", *words]) == 5
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert "expected a certificate and its key without a password, PEM both" in err
    return err


def test_the_key_of_another_certificate_is_told(
    folder: Path, pair: Pair, capsys: pytest.CaptureFixture[str]
) -> None:
    other = made(folder, "other")
    assert "mismatch" in refused(Pair(pair.certificate, other.key), capsys).lower()


def test_a_locked_key_is_told_and_no_password_is_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    refused(made(folder, "locked", "-passout", "pass:secret"), capsys)


def test_a_key_named_as_the_certificate_is_told(
    pair: Pair, capsys: pytest.CaptureFixture[str]
) -> None:
    refused(Pair(pair.key, pair.key), capsys)


@pytest.mark.parametrize("name", ["missing.pem", ".", "empty.pem", "cut.pem"])
def test_a_certificate_that_is_none_is_told(
    folder: Path, pair: Pair, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "empty.pem").write_bytes(b"")
    (folder / "cut.pem").write_bytes(pair.certificate.read_bytes()[:300])
    refused(Pair(folder / name, pair.key), capsys)
