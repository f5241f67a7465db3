"""Parts of a file, against the examples of RFC 9110, section 14.1.2 (a file of 10000 bytes)."""

import pytest

from education.rules.byte_range import NoSuchPart, Part, asked_part

EXAMPLES = [
    ("bytes=0-499", Part(0, 499), "the first 500 bytes"),
    ("bytes=500-999", Part(500, 999), "the second 500 bytes"),
    ("bytes=-500", Part(9500, 9999), "the final 500 bytes"),
    ("bytes=9500-", Part(9500, 9999), "the same"),
    ("bytes=-20000", Part(0, 9999), "a suffix longer than the file is all of it"),
    ("bytes=9500-20000", Part(9500, 9999), "an end behind the end"),
    ("bytes=0-0,-1", None, "several: a server may send the whole"),
    ("bytes=999-500", None, "invalid: passed over"),
    ("lines=1-2", None, "another unit: passed over"),
    ("bytes=-", None, "nothing"),
    ("", None, "no header"),
]


@pytest.mark.parametrize("header, part, why", EXAMPLES, ids=[row[2] for row in EXAMPLES])
def test_the_part_that_is_asked_for(header: str, part: Part | None, why: str) -> None:
    assert asked_part(header, 10000, most=10000) == part


@pytest.mark.parametrize("header", ["bytes=10000-", "bytes=12000-13000", "bytes=-0"])
def test_a_part_behind_the_end_is_none(header: str) -> None:
    with pytest.raises(NoSuchPart):
        asked_part(header, 10000, most=10000)


def test_no_answer_is_longer_than_is_good_for_the_server() -> None:
    assert asked_part("bytes=100-", 10000, most=1000) == Part(100, 1099)
