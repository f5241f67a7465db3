"""What the web server runs."""

import os

from django.core.wsgi import get_wsgi_application

from clinic.discreet_logging import log_uncaught_exceptions

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.settings")

log_uncaught_exceptions()
application = get_wsgi_application()
