"""Certificates: made for this machine, kept, renewed, refused."""

import ssl
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from hipwright.adapters.tls import own_certificate, read_certificate
from hipwright.adapters.tls.certificates import LIFE, CertificateError

NOW = datetime(2026, 3, 1, tzinfo=UTC)
HOSTS = {"hips.practice.example", "192.0.2.7"}


def test_the_machine_makes_a_certificate_for_its_names_and_keeps_it(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    assert made.names == HOSTS
    again = own_certificate(tmp_path / "tls", HOSTS, now=NOW + timedelta(days=100))
    assert again.fingerprint == made.fingerprint


def test_a_browser_library_accepts_key_and_certificate(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(made.certificate, made.key)  # OpenSSL judges, not we


def test_only_its_owner_can_read_the_key(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("hosts", "later"),
    [(HOSTS | {"other.example"}, timedelta(0)), (HOSTS, LIFE - timedelta(days=10))],
    ids=["a new name", "soon over"],
)
def test_a_certificate_that_no_longer_fits_is_made_anew(
    tmp_path: Path, hosts: set[str], later: timedelta
) -> None:
    old = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    new = own_certificate(tmp_path / "tls", hosts, now=NOW + later)
    assert new.fingerprint != old.fingerprint


def test_a_certificate_out_of_date_is_refused(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    with pytest.raises(CertificateError, match="good until"):
        read_certificate(made.certificate, made.key, now=NOW + timedelta(days=400))


def test_a_key_of_another_certificate_is_refused(tmp_path: Path) -> None:
    one = own_certificate(tmp_path / "one", HOSTS, now=NOW)
    other = own_certificate(tmp_path / "other", HOSTS, now=NOW)
    with pytest.raises(CertificateError, match="key of another certificate"):
        read_certificate(one.certificate, other.key, now=NOW)


def test_files_that_are_none_are_refused(tmp_path: Path) -> None:
    made = own_certificate(tmp_path / "tls", HOSTS, now=NOW)
    nothing = tmp_path / "nothing.pem"
    nothing.write_text("nothing")
    with pytest.raises(CertificateError):
        read_certificate(nothing, made.key, now=NOW)
    with pytest.raises(CertificateError):
        read_certificate(made.certificate, nothing, now=NOW)
    with pytest.raises(CertificateError):
        read_certificate(tmp_path / "absent.pem", made.key, now=NOW)
