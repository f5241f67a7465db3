"""Fixtures for the tests of education."""

import pytest
from django.contrib.auth import get_user_model


@pytest.fixture
def clinician(db: None) -> int:
    """The id of a clinician, for acts that need a name."""
    member = get_user_model().objects.create_user(
        email="brask@example.org", name="Ottoline Brask", role="clinician", password="sip-by-sip"
    )
    return int(member.pk)
