"""docker-compose.yml and Dockerfile, as far as they can be checked without an engine."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from clinic.settings import MAY_BE_EMPTY, REQUIRED_IN_PRODUCTION

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
    missing = [name for name in REQUIRED_IN_PRODUCTION if name not in given]
    assert missing == []
    for name in REQUIRED_IN_PRODUCTION:
        value = str(given[name])
        # Either a value, or one that compose itself insists on, or one that may be nothing.
        assert name in MAY_BE_EMPTY or re.sub(r"\$\{\w+:-\}", "", value), name


def test_the_listener_is_started_only_when_asked_for() -> None:
    service = SERVICES["mllp"]
    assert service["profiles"] == ["mllp"]
    assert service["command"][:3] == ["python", "manage.py", "listen_mllp"]
    assert [port.rsplit(":", 1)[1] for port in service["ports"]] == [service["command"][-1]]
    assert all("profiles" not in other for name, other in SERVICES.items() if name != "mllp")


def test_no_secret_has_a_default() -> None:
    text = (ROOT / "docker-compose.yml").read_text()
    for name in ("SECRET_KEY", "POSTGRES_PASSWORD", "PUBLIC_URL"):
        assert f"${{{name}:?" in text
        assert f"${{{name}:-" not in text


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
