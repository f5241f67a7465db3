"""Named sets of roles, so that no view lists them."""

from clinic.models import Role

READERS = tuple(Role)
CARERS = (Role.DIETITIAN, Role.CLINICIAN)
CLINICIANS = (Role.CLINICIAN,)
# They take in schedules: files, and messages that wait.
SCHEDULERS = (Role.DIETITIAN, Role.COORDINATOR, Role.ADMINISTRATOR)
# They say whether two records are one person.
REGISTRARS = (*CARERS, Role.ADMINISTRATOR)
# They write the stages of the eating plan; a clinician signs them.
STAGE_KEEPERS = (Role.DIETITIAN, Role.ADMINISTRATOR)
# They say what the programme sends of its own accord, hold all mail, and write its texts.
MAIL_KEEPERS = (Role.DIETITIAN, Role.ADMINISTRATOR)
