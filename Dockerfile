# One image for web, worker, beat and the one-shot migrate; docker-compose.yml says which.
FROM python:3.13-slim-trixie

ENV PYTHONUNBUFFERED=1 \
    PYTHONDONTWRITEBYTECODE=1 \
    PIP_NO_CACHE_DIR=1 \
    PIP_DISABLE_PIP_VERSION_CHECK=1 \
    CLINIC_IN_PLACE=1 \
    DJANGO_SETTINGS_MODULE=clinic.settings \
    GRANIAN_WORKERS=2 \
    GRANIAN_BLOCKING_THREADS=8 \
    WEB_THREADS=8

# pg_dump, pg_restore and psql for backups, of docker-compose.yml's PostgreSQL.
RUN apt-get update \
    && apt-get install --yes --no-install-recommends postgresql-client-17 \
    && rm -rf /var/lib/apt/lists/*

# A volume that is mounted here for the first time takes its owner over.
RUN useradd --system --uid 10001 --no-create-home --shell /usr/sbin/nologin clinic \
    && install -d -o clinic /data/media /data/languages

WORKDIR /app
# Of the two the larger one: with what an S3-compatible store for uploads needs.
COPY requirements-s3.txt .
RUN pip install --require-hashes --no-deps -r requirements-s3.txt

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

# What this is, for the page of what runs and the metrics: docker build --build-arg RELEASE=2026-11-28
ARG RELEASE="not said"
ENV RELEASE=$RELEASE

# Asks as the public host would, past the redirect to https (the path is exempt from it).
HEALTHCHECK --interval=15s --timeout=5s --start-period=20s --retries=3 \
    CMD ["python", "-I", "clinic/ask_health.py", "web"]

CMD ["granian", "clinic.wsgi:application", "--interface", "wsgi", "--host", "0.0.0.0", \
     "--port", "8000", "--no-ws", "--no-access-log", "--respawn-failed-workers"]
