"""The Django project, and the staff's side."""

# Importing the Celery application here makes it the one that shared tasks belong to.
from clinic.celery import app as celery_app

__all__ = ["celery_app"]
