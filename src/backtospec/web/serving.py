"""Serving the page: the socket, the certificate, the browser."""

from __future__ import annotations

import ipaddress
import os
import socket
import threading
import webbrowser
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from backtospec.errors import BenchError
from backtospec.web.desk import Desk
from backtospec.web.sessions import hash_passphrase
from backtospec.web.settings import Settings

if TYPE_CHECKING:
    from fastapi import FastAPI

KEY_NAME, CERTIFICATE_NAME = "page-key.pem", "page-certificate.pem"
_VALID_DAYS = 825
_LEFT_DAYS = 14


def make_settings(host: str, passphrase: str | None, tls: bool) -> Settings:
    """Return the settings of a page to be served.

    Raises
    ------
    BenchError
        Where the passphrase is too short.
    """
    return Settings(
        host=host,
        tls=tls,
        passphrase_hash="" if passphrase is None else hash_passphrase(passphrase),
    )


def listen_on(host: str, port: int) -> socket.socket:
    """Return a socket that listens; with port 0 on one that is free.

    Raises
    ------
    BenchError
        Where the address or port cannot be had.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    try:
        if os.name != "nt":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(128)
    except OSError as error:
        listening.close()
        raise BenchError(
            f"port {port} of {host} cannot be had ({error.strerror or error}).",
            "--host, --port",
            "Take another port, or 0 for any that is free.",
        ) from None
    return listening


def serve_until_stopped(
    app: FastAPI, listening: socket.socket, *, tls: bool, open_at: str = ""
) -> None:
    """Serve until Ctrl+C or a signal to end."""
    import uvicorn

    key, certificate = _certificate(app) if tls else (None, None)
    config = uvicorn.Config(
        app,
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=1,
        ssl_keyfile=None if key is None else str(key),
        ssl_certfile=None if certificate is None else str(certificate),
    )
    if open_at:
        threading.Thread(target=webbrowser.open, args=(open_at,), daemon=True).start()
    uvicorn.Server(config).run(sockets=[listening])


def _certificate(app: FastAPI) -> tuple[Path, Path]:
    desk = app.state.desk
    assert isinstance(desk, Desk)
    folder = desk.bench.folder
    key, certificate = folder / KEY_NAME, folder / CERTIFICATE_NAME
    if not _still_good(key, certificate):
        make_certificate(key, certificate, desk.settings.host)
    return key, certificate


def _still_good(key: Path, certificate: Path) -> bool:
    from cryptography import x509

    if not key.exists() or not certificate.exists():
        return False
    until = x509.load_pem_x509_certificate(certificate.read_bytes()).not_valid_after_utc
    return until > datetime.now(UTC) + timedelta(days=_LEFT_DAYS)


def make_certificate(key_path: Path, certificate_path: Path, host: str) -> None:
    """Write a key, readable by its owner alone, and a certificate that it signs itself."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Backtospec bench page")])
    own = socket.gethostname()
    names: list[x509.GeneralName] = [x509.DNSName(n) for n in ("localhost", own, f"{own}.local")]
    names += [x509.IPAddress(ipaddress.ip_address(a)) for a in ("127.0.0.1", "::1")]
    if host not in ("localhost", "127.0.0.1", "::1", "0.0.0.0", "::"):
        try:
            names.append(x509.IPAddress(ipaddress.ip_address(host)))
        except ValueError:
            names.append(x509.DNSName(host))
    now = datetime.now(UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=_VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    pem = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    key_path.unlink(missing_ok=True)
    handle = os.open(key_path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(pem)
    certificate_path.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
