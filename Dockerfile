# One image for web, worker, beat and the one-shot migrate; docker-compose.yml says which.
FROM python:3.13-slim

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    PIP_NO_CACHE_DIR=1 \
    PIP_DISABLE_PIP_VERSION_CHECK=1 \
    CLINIC_IN_PLACE=1 \
    DJANGO_SETTINGS_MODULE=clinic.settings

RUN useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin clinic

WORKDIR /app
COPY requirements.txt .
RUN pip install --require-hashes --no-deps -r requirements.txt

COPY manage.py first_run.py ./
COPY patients patients
COPY education education
COPY clinic clinic
COPY templates templates

# Collected with throw-away settings: nothing secret is needed, and nothing of it stays.
RUN CLINIC_DATA_DIR=/tmp/build STATIC_ROOT=/app/staticfiles python manage.py collectstatic --no-input \
    && rm -rf /tmp/build

USER clinic
EXPOSE 8000

# Asks as the public host would, past the redirect to https (the path is exempt from it).
HEALTHCHECK --interval=15s --timeout=5s --start-period=20s --retries=3 \
    CMD ["python", "-m", "clinic.ask_health"]

CMD ["granian", "clinic.wsgi:application", "--interface", "wsgi", "--host", "0.0.0.0", \
     "--port", "8000", "--workers", "2", "--blocking-threads", "8", "--no-ws", \
     "--no-access-log", "--respawn-failed-workers"]
