"""Who may ask: signed session cookies, form tokens, and the passphrase.

Nothing is kept in memory but failures to sign in, so that a restart of the server signs nobody
out and no form that is open becomes stale.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from backtospec.errors import BenchError

COOKIE = "backtospec"
SECRET_NAME = "page-secret"

_FREE_TRIES = 5
_LONGEST_WAIT_S = 300.0


def secret_of(folder: Path) -> bytes:
    """Return the secret of a data folder that signs its cookies, made on first use."""
    path = folder / SECRET_NAME
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_bytes()
    with os.fdopen(handle, "wb") as file:
        secret = secrets.token_bytes(32)
        file.write(secret)
    return secret


@dataclass(frozen=True, slots=True)
class Session:
    """One browser: an id of its own, and until when it may come in (seconds since 1970)."""

    id: str
    until: float
    signed_in: bool


class Sessions:
    """Makes and reads the cookies.

    Parameters
    ----------
    secret
        Signs them. A changed passphrase changes the signature: old sessions end.
    hours
        How long one lasts.
    now
        The clock, in seconds since 1970.
    """

    def __init__(
        self,
        secret: bytes,
        hours: float,
        passphrase_hash: str,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._key = hashlib.sha256(secret + passphrase_hash.encode()).digest()
        self._seconds = hours * 3600
        self._now = now

    def begin(self, signed_in: bool) -> Session:
        """Return a new session."""
        return Session(secrets.token_urlsafe(18), self._now() + self._seconds, signed_in)

    def write(self, session: Session) -> str:
        """Return a session as the value of its cookie."""
        body = f"{session.id}.{int(session.until)}.{int(session.signed_in)}"
        return f"{body}.{self._sign('session', body)}"

    def read(self, cookie: str) -> Session | None:
        """Return the session of a cookie; ``None`` where it is forged or over."""
        body, _, signature = cookie.rpartition(".")
        if not hmac.compare_digest(signature.encode(), self._sign("session", body).encode()):
            return None
        id_, until, signed_in = body.split(".")
        return Session(id_, float(until), signed_in == "1") if self._now() < int(until) else None

    def form_token(self, session: Session) -> str:
        """Return what every form of this session must bring back."""
        return self._sign("form", session.id)

    def _sign(self, purpose: str, body: str) -> str:
        return hmac.new(self._key, f"{purpose}:{body}".encode(), hashlib.sha256).hexdigest()[:40]


@dataclass
class Doorkeeper:
    """Checks the passphrase, one try at a time and slower after each failure.

    Parameters
    ----------
    passphrase_hash
        Argon2 hash.
    now
        A clock that runs forward, in seconds.
    """

    passphrase_hash: str
    now: Callable[[], float] = time.monotonic
    _failures: int = 0
    _closed_until: float = 0.0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def admit(self, passphrase: str) -> None:
        """Return where the passphrase is right.

        Raises
        ------
        BenchError
            Where it is wrong, or came too soon after wrong ones.
        """
        from argon2 import PasswordHasher
        from argon2.exceptions import VerifyMismatchError

        with self._lock:
            wait = self._closed_until - self.now()
            if wait > 0:
                raise BenchError(
                    f"was wrong {self._failures} times.", "passphrase", f"Wait {wait:.0f} s."
                )
            try:
                PasswordHasher().verify(self.passphrase_hash, passphrase)
            except VerifyMismatchError:
                self._failures += 1
                over = self._failures - _FREE_TRIES
                if over >= 0:
                    self._closed_until = self.now() + min(_LONGEST_WAIT_S, 5.0 * 2**over)
                raise BenchError("is wrong.", "passphrase", "Try again.") from None
            self._failures = 0


def hash_passphrase(passphrase: str) -> str:
    """Return the Argon2 hash of a passphrase.

    Raises
    ------
    BenchError
        Where it is too short to keep anybody out.
    """
    from argon2 import PasswordHasher

    if len(passphrase.strip()) < 10:
        raise BenchError(
            f"has {len(passphrase.strip())} characters.", "passphrase", "Take 10 or more."
        )
    return PasswordHasher().hash(passphrase)
