"""The encryption of the MLLP listener: its certificate and key, and whose clients may connect."""

import ssl
from pathlib import Path


class NotUsable(Exception):
    """A certificate or key cannot be used; the message says which file and why."""


def tls_context(certificate: Path, key: Path | None, client_ca: Path | None) -> ssl.SSLContext:
    """Return the context of a listener: TLS 1.2 and later, by PEM files.

    `certificate` may hold the key too. `client_ca`: only who shows a certificate that one of these
    authorities signed may connect. Raises NotUsable.
    """
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        # A key with a pass phrase would ask at the terminal, where nobody is.
        context.load_cert_chain(certificate, key, password=lambda: b"")
    except (OSError, ValueError) as error:
        raise NotUsable(f"{certificate}{f' with {key}' if key else ''}: {_why(error)}") from error
    if client_ca is not None:
        try:
            context.load_verify_locations(client_ca)
        except (OSError, ValueError) as error:
            raise NotUsable(f"{client_ca}: {_why(error)}") from error
        context.verify_mode = ssl.CERT_REQUIRED
    return context


def _why(error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such file"
    if isinstance(error, ssl.SSLError):
        return f"no certificate and key that fit together ({error.reason or 'not readable'})"
    return getattr(error, "strerror", None) or "not readable"
