"""docker-compose.yml and Dockerfile, as far as they can be checked without an engine."""

import importlib.util
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import yaml

from clinic import ask_health, settings
from clinic.settings import MAY_BE_EMPTY, REQUIRED_IN_PRODUCTION, SECRETS
from tests.clinic.test_settings import python

ROOT = Path(__file__).resolve().parent.parent.parent
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, dict[str, Any]] = COMPOSE["services"]
OURS = ("migrate", "web", "worker", "beat", "mllp")
DOCKERFILE = (ROOT / "Dockerfile").read_text()
# Compose's words for what a service may wait for (compose specification, depends_on).
CONDITIONS = {"service_started", "service_healthy", "service_completed_successfully"}


def test_everything_that_the_issue_names_is_there() -> None:
    assert set(SERVICES) == {*OURS, "database", "redis", "mail"}
    assert SERVICES["database"]["image"].startswith("postgres:17")
    assert SERVICES["redis"]["image"].startswith("redis:8")


def test_what_the_database_is_told_is_what_postgresql_has_unless_told_otherwise() -> None:
    """Its manual: server configuration, 128MB and 100; `-c name=value` is of its command."""
    assert SERVICES["database"]["command"] == [
        "postgres",
        *("-c", "shared_buffers=${POSTGRES_SHARED_BUFFERS:-128MB}"),
        *("-c", "max_connections=${POSTGRES_MAX_CONNECTIONS:-100}"),
    ]


@pytest.mark.parametrize("service", OURS)
def test_each_process_has_every_setting_that_production_requires(service: str) -> None:
    given = SERVICES[service]["environment"]
    assert given["CLINIC_PRODUCTION"] == "1"
    for name in REQUIRED_IN_PRODUCTION:
        in_file = f"{name}_FILE"
        if in_file in given:
            assert given[in_file].removeprefix("/run/secrets/") in SERVICES[service]["secrets"]
            continue
        value = str(given[name])
        # Either a value, or one that compose itself insists on, or one that may be nothing.
        assert name in MAY_BE_EMPTY or re.sub(r"\$\{\w+:-\}", "", value), name


# Settings that a container is not told, and why.
NOT_TOLD = {
    "CLINIC_DEBUG": "never in production",
    "CLINIC_DEMO": "never in production",
    "CLINIC_DATA_DIR": "of the embedded mode",
    "MEDIA_ROOT": "the volume's place is the default",
    "STATIC_ROOT": "collected into the image",
    "PULSE_FOLDER": "the container's own /tmp is the default",
    "BEAT_SCHEDULE_FILE": "the container's own /tmp is the default",
    "RELEASE": "said by the image",
    "WORKER_THREADS": "its worker has processes",
}


def test_every_setting_that_there_is_can_be_given() -> None:
    source = (ROOT / "clinic" / "settings.py").read_text()
    read = set(re.findall(r'env\.(?:text|flag|secret|whole_number|items)\(\s*"(\w+)"', source))
    assert len(read) > 40
    told = {name.removesuffix("_FILE") for name in SERVICES["web"]["environment"]}
    assert read - told == set(NOT_TOLD)
    assert {name for name in SECRETS if f"{name}_FILE" in SERVICES["web"]["environment"]} == SECRETS
    # A setting of its own for each process would be one that another lacks.
    for service in ("worker", "beat", "migrate", "mllp"):
        given = SERVICES[service]["environment"]
        assert set(COMPOSE["x-settings"]) <= set(given), service
        assert SERVICES[service]["env_file"] == [{"path": "hosted-mail.env", "required": False}]
    assert "hosted-mail.env" in (ROOT / ".gitignore").read_text().splitlines()


def in_container(folder: Path, said: dict[str, str]) -> dict[str, str]:
    """The variables of the worker, as compose fills them in from `said`; secrets in a folder.

    By the compose specification's interpolation: ${A:-b} is b where A is unset or empty, ${A-b}
    where it is unset; ${A:?why} insists on A.
    """

    def value(found: re.Match[str]) -> str:
        name, sign, other = found.groups()
        there = name in said and (bool(said[name]) or sign == "-")
        return said[name] if there else other

    given = SERVICES["worker"]["environment"]
    filled = {k: re.sub(r"\$\{(\w+)(:-|-|:\?)([^}]*)\}", value, v) for k, v in given.items()}
    return {name: text.replace("/run/secrets", str(folder)) for name, text in filled.items()}


def test_a_mail_service_a_mailbox_and_a_store_are_reached_by_what_a_container_is_told(
    tmp_path: Path,
) -> None:
    for name in COMPOSE["secrets"]:
        (tmp_path / name).write_text(name.ljust(60, "x"))
    (tmp_path / "email_password").write_text("")
    (tmp_path / "mail_events").write_text("service:" + "x" * 20)
    said = {"PUBLIC_URL": "https://teach.example.org", "HOSTED_MAIL": "postmark", "EMAIL_HOST": ""}
    said |= {"IMAP_HOST": "mail.invalid", "IMAP_USER": "desk", "IMAP_PORT": "1993"}
    said |= {"MEDIA_S3_BUCKET": "uploads", "MEDIA_S3_ACCESS_KEY": "key"}
    told = in_container(tmp_path, said)
    told["ANYMAIL_POSTMARK_SERVER_TOKEN_FILE"] = str(tmp_path / "hosted_mail")  # hosted-mail.env
    code = (
        "from clinic import settings as s;"
        "print(s.EMAIL_BACKEND, s.ANYMAIL['POSTMARK_SERVER_TOKEN'][:11], s.MAIL_EVENTS,"
        " s.IMAP_PORT, s.IMAP_PASSWORD[:13], s.UPLOADS['OPTIONS']['secret_key'][:19])"
    )
    there = importlib.util.find_spec("boto3")
    if not there:  # not in the embedded mode's packages
        told["MEDIA_S3_BUCKET"] = told["MEDIA_S3_ACCESS_KEY"] = ""
        code = code.replace("s.UPLOADS['OPTIONS']['secret_key'][:19]", "'media_s3_secret_key'")
    answer = python(told, "-c", code)
    assert answer.stdout.split() == [
        "anymail.backends.postmark.EmailBackend",
        "hosted_mail",
        "True",
        "1993",
        "imap_password",
        "media_s3_secret_key",
    ], answer.stderr
    # And with nothing but what must be set and what is generated, the trial's: a mail catcher.
    for name in ("imap_password", "hosted_mail", "mail_events", "media_s3_secret_key"):
        (tmp_path / name).write_text("")
    told = in_container(tmp_path, {"PUBLIC_URL": "https://teach.example.org"})
    answer = python(told, "-c", "from clinic import settings as s; print(s.EMAIL_HOST, s.ANYMAIL)")
    assert answer.stdout.startswith("mail {'REQUESTS_TIMEOUT'"), answer.stderr


def test_the_listener_is_started_only_when_asked_for() -> None:
    service = SERVICES["mllp"]
    assert service["profiles"] == ["mllp"]
    assert service["command"][:3] == ["python", "manage.py", "listen_mllp"]
    assert [port.rsplit(":", 1)[1] for port in service["ports"]] == [service["command"][-1]]
    assert all("profiles" not in other for name, other in SERVICES.items() if name != "mllp")


def test_secrets_are_files_and_stand_in_no_environment() -> None:
    for name, secret in COMPOSE["secrets"].items():
        assert secret["file"] == f"${{SECRETS:-./secrets}}/{name}"
        assert f"secrets/{name}" in (ROOT / "docker-compose.yml").read_text().partition("x-")[0]
    for service in SERVICES.values():
        assert set(service.get("secrets", [])) <= set(COMPOSE["secrets"])
        assert not SECRETS & set(service.get("environment", {}))
    assert "${PUBLIC_URL:?" in (ROOT / "docker-compose.yml").read_text()
    assert "secrets/" in (ROOT / ".gitignore").read_text().splitlines()


def test_each_process_says_whether_it_is_well() -> None:
    """The web server's check is the image's; what migrates ends by itself."""
    checked = {name for name, s in SERVICES.items() if "test" in s.get("healthcheck", {})}
    assert checked == set(SERVICES) - {"web", "migrate"}
    asks = [SERVICES[name]["healthcheck"]["test"] for name in ("worker", "beat", "mllp")]
    asks.append(json.loads(re.search(r"HEALTHCHECK.+?CMD (\[.+?\])", DOCKERFILE, re.DOTALL)[1]))  # type: ignore[index]
    for command in asks:
        assert (ROOT / command[-2]).is_file()


def test_everything_is_as_closed_as_it_can_be() -> None:
    for name, service in SERVICES.items():
        assert service["read_only"], name
        assert "no-new-privileges:true" in service["security_opt"], name
        # PostgreSQL's image begins as root, to own its folder, and goes on as an ordinary user.
        assert service.get("cap_drop") == ["ALL"] or name == "database", name
        assert set(service["networks"]) <= set(COMPOSE["networks"])
    assert COMPOSE["networks"]["inside"]["internal"]
    for name in ("database", "redis"):
        assert SERVICES[name]["networks"] == ["inside"]
        assert "ports" not in SERVICES[name]


def test_the_workers_time_limits_can_hold() -> None:
    """Celery's manual: time limits work in the prefork pool; threads cannot be ended."""
    command = SERVICES["worker"]["command"]
    assert "--pool=prefork" in command
    assert "--without-heartbeat" in command
    limit = settings.CELERY_TASK_TIME_LIMIT
    assert limit > settings.CELERY_TASK_SOFT_TIME_LIMIT
    # Longer, or a task would be handed out a second time while it runs.
    assert limit < settings.REDIS_TRANSPORT_OPTIONS["visibility_timeout"]


@pytest.mark.parametrize("service", sorted(SERVICES))
def test_services_wait_only_for_services_that_exist_and_can_be_waited_for(service: str) -> None:
    for other, waits in SERVICES[service].get("depends_on", {}).items():
        assert other in SERVICES
        assert waits["condition"] in CONDITIONS
        if waits["condition"] == "service_healthy":
            assert "test" in SERVICES[other]["healthcheck"]


def test_hosts_in_the_addresses_are_services() -> None:
    given = SERVICES["web"]["environment"]
    assert re.search(r"@(\w+):5432/", given["DATABASE_URL"])[1] in SERVICES  # type: ignore[index]
    assert re.search(r"//(\w+):6379/", given["REDIS_URL"])[1] in SERVICES  # type: ignore[index]
    assert re.search(r"-(\w+)}", given["EMAIL_HOST"])[1] in SERVICES  # type: ignore[index]


def test_volumes_and_ports_are_declared_and_local() -> None:
    for service in SERVICES.values():
        for volume in service.get("volumes", []):
            assert volume.split(":")[0] in COMPOSE["volumes"]
        for port in service.get("ports", []):
            assert port.startswith("127.0.0.1:")


def test_the_image_runs_as_an_ordinary_user_from_hashed_requirements() -> None:
    assert "--require-hashes" in DOCKERFILE
    assert DOCKERFILE.index("USER clinic") < DOCKERFILE.index("\nCMD ")
    assert "CLINIC_IN_PLACE=1" in DOCKERFILE


def test_everything_that_is_copied_exists_and_is_not_ignored() -> None:
    let_in = {
        line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line[:1] == "!"
    }
    for line in re.findall(r"^COPY (.+)$", DOCKERFILE, re.MULTILINE):
        for source in line.split()[:-1]:
            assert (ROOT / source).exists(), source
            assert source in let_in, source


# --- what the health checks ask -------------------------------------------------------------------


def test_a_pulse_counts_for_a_minute(tmp_path: Path) -> None:
    (tmp_path / "worker-pulse").touch()
    touched = (tmp_path / "worker-pulse").stat().st_mtime
    assert ask_health.beats("worker", tmp_path, at=touched + 59)
    assert not ask_health.beats("worker", tmp_path, at=touched + 61)
    assert not ask_health.beats("beat", tmp_path, at=touched)


def test_it_is_asked_by_the_standard_library_alone() -> None:
    """It runs every few seconds beside each process."""
    code = "import sys, runpy; runpy.run_path('clinic/ask_health.py');" + (
        "print({'celery', 'django', 'clinic'} & set(sys.modules))"
    )
    asked = subprocess.run(
        [sys.executable, "-I", "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert asked.stdout.strip() == "set()"
