"""Named sets of roles, so that no view lists them."""

from clinic.models import Role

READERS = tuple(Role)
CARERS = (Role.DIETITIAN, Role.CLINICIAN)
CLINICIANS = (Role.CLINICIAN,)
# They say whether two records are one person.
REGISTRARS = (*CARERS, Role.ADMINISTRATOR)
