"""What a backup says of itself: when it was made, of which database, how many rows of what."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from django.db.backends.base.base import BaseDatabaseWrapper

ABOUT = "about.json"
UPLOADS, LANGUAGES = "uploads", "languages"
HOLDS = "education_mailhold"
DATABASE = {"postgresql": "database.dump", "sqlite": "database.sqlite3"}


class Refused(Exception):
    """Nothing was written; the message says why, and what to do."""


@dataclass(frozen=True)
class About:
    """`rows` by table; `seal`: of the trail, from before the copy was begun."""

    made_at: str
    release: str
    vendor: str
    schema: str
    seal: str
    rows: dict[str, int]

    def write(self, folder: Path) -> None:
        """Write it beside the copy of the database."""
        text = json.dumps(asdict(self), indent=1, sort_keys=True)
        (folder / ABOUT).write_text(text + "\n", encoding="utf-8")


def read_about(folder: Path) -> About:
    """Return what a backup says of itself. Raises Refused when the folder is none."""
    try:
        return About(**json.loads((folder / ABOUT).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as broken:
        said = f"{folder} is no finished backup: its {ABOUT} cannot be read"
        raise Refused(f"{said} ({type(broken).__name__}).") from None


def rows_by_table(using: BaseDatabaseWrapper) -> dict[str, int]:
    """Count the rows of every table."""
    with using.cursor() as cursor:
        counts: dict[str, int] = {}
        for name in sorted(using.introspection.table_names(cursor)):
            cursor.execute(f"SELECT COUNT(*) FROM {using.ops.quote_name(name)}")
            counts[name] = cursor.fetchone()[0]
    return counts
