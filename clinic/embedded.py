"""The data folder of the embedded mode: database, secret key, broker, mail that went out."""

import os
import secrets
from pathlib import Path


def prepare_data_folder(folder: Path) -> None:
    """Makes the folders that the database, the broker and the mail need. Only for the owner."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    for name in ("broker/messages", "broker/control", "mail"):
        (folder / name).mkdir(parents=True, exist_ok=True)


def secret_key_in(folder: Path) -> str:
    """The folder's own secret key; made on first use, readable by the owner only.

    Two processes that start at once end up with the same key: the first link wins.
    """
    path = folder / "secret-key"
    if not path.exists():
        draft = folder / f".secret-key-{os.getpid()}-{secrets.token_hex(4)}"
        descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as file:
            file.write(secrets.token_urlsafe(64))
        try:
            os.link(draft, path)
        except FileExistsError:
            pass
        finally:
            draft.unlink()
    return path.read_text().strip()
