"""How the page is served, and to whom."""

from __future__ import annotations

from dataclasses import dataclass

LOOPBACK = ("127.0.0.1", "::1", "localhost")


@dataclass(frozen=True, slots=True)
class Settings:
    """What was decided when the page was started.

    Parameters
    ----------
    host
        The address it listens on; on anything but loopback a passphrase is needed.
    passphrase_hash
        Argon2 hash, or an empty text where none is asked for.
    tls
        Whether it is served over https.
    host_names
        Names it may be called by, beside addresses and this machine's own name.
    session_hours
        After so many hours the passphrase is asked for again.
    upload_bytes, form_bytes
        The largest file, and the largest form, that is taken.
    """

    host: str = "127.0.0.1"
    passphrase_hash: str = ""
    tls: bool = False
    host_names: tuple[str, ...] = ()
    session_hours: float = 12.0
    upload_bytes: int = 4 << 30
    form_bytes: int = 4 << 20

    @property
    def exposed(self) -> bool:
        """Whether others on the network can reach it."""
        return self.host not in LOOPBACK
