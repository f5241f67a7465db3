"""`manage.py publish`: files in, editions out, or nothing at all."""

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from education.models import Edition

STARTER = Path(__file__).parents[2] / "education" / "starter"


@pytest.mark.django_db
def test_the_starter_modules_are_published_and_numbered() -> None:
    out = StringIO()
    files = [str(path) for path in sorted(STARTER.glob("*.toml"))]
    call_command("publish", *files, stdout=out)
    call_command("publish", files[0], "--earlier-clearances-stop-counting", stdout=out)
    assert out.getvalue().splitlines() == [
        "before-operation: edition 1 published (en, es).",
        "eating-drinking: edition 1 published (en, es).",
        "first-weeks: edition 1 published (en, es).",
        "before-operation: edition 2 published (en, es).",
        "  Nothing changed since edition 1.",
        "  Clearances on earlier editions do not count any more.",
    ]
    counts = Edition.objects.order_by("id").values_list("earlier_clearances_count", flat=True)
    assert list(counts) == [True, True, True, False]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'code = "x"\npass_mark = 80\n', "title"),
        (b"\xff\xfe", "not UTF-8 text"),
        (None, "No such file"),
    ],
)
def test_one_bad_file_publishes_nothing(tmp_path: Path, content: bytes | None, said: str) -> None:
    bad = tmp_path / "bad.toml"
    if content is not None:
        bad.write_bytes(content)
    with pytest.raises(CommandError, match=said):
        call_command("publish", str(STARTER / "first_weeks_at_home.toml"), str(bad))
    assert not Edition.objects.exists()
