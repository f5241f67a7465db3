"""docker-compose.yml and Dockerfile, as far as they can be checked without an engine."""

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
        assert not SECRETS & set(service.get("environment", {})) - {"MEDIA_S3_SECRET_KEY"}
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
    assert re.search(r":-(\w+)}", given["EMAIL_HOST"])[1] in SERVICES  # type: ignore[index]


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
