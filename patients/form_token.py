"""A secret that a form makes and shows once: of it the SHA-256 alone is kept."""

import base64
import hashlib
import hmac
import uuid

from django.conf import settings


def token_of(key: uuid.UUID, *, purpose: str) -> str:
    """Return 256 bits out of the form's own key and the site's secret, in URL-safe base 64.

    A form that was sent twice makes one token and shows it twice, and nothing is stored in between.
    """
    secret = hmac.new(settings.SECRET_KEY.encode(), f"{purpose}|{key}".encode(), hashlib.sha256)
    return base64.urlsafe_b64encode(secret.digest()).decode().rstrip("=")


def digest_of(token: str) -> str:
    """Return the SHA-256 of a token, in hexadecimal, whatever somebody sent as one."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()
