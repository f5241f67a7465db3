"""Add a procedure to those that schedules may name."""

from patients.models import Procedure


def add(*, code: str, name: str) -> Procedure:
    """Add a procedure. Raises IntegrityError when its code or name is taken, whatever the case."""
    return Procedure.objects.create(code=code.strip(), name=name.strip())
