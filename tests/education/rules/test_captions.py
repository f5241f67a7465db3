"""Captions, against W3C WebVTT 1 (sections 4.1 and 6.1) and the timings of the web platform's own
tests (web-platform-tests, webvtt/parsing/file-parsing: timings-*.vtt, whitespace-chars.vtt).
"""

import pytest

from education.rules.captions import BadCaptions, read_captions, spoken, written

GOOD = [
    ("00:00.000 --> 00:01.000", (0, 1000), "no hours: timings-omitted-hours.vtt"),
    ("00:00:00.000 --> 00:01.000", (0, 1000), "hours on one side only"),
    ("0:00:00.000 --> 00:00:01.000", (0, 1000), "one digit of hours: timings-too-short.vtt, text1"),
    ("\t\t00:00:00.000\t-->\t\t00:00:01.000\t", (0, 1000), "tabs: whitespace-chars.vtt"),
    ("100:00:00.000 --> 100:00:01.250", (360_000_000, 360_001_250), "more than 99 hours"),
]


@pytest.mark.parametrize("timings, told, why", GOOD, ids=[row[2] for row in GOOD])
def test_times_that_browsers_read_are_read(timings: str, told: tuple[int, int], why: str) -> None:
    (cue,) = read_captions(f"WEBVTT\n\n{timings}\nSip.\n".encode())
    assert (cue.start, cue.end) == told


@pytest.mark.parametrize(
    "timings",
    [
        # timings-too-short.vtt, each marked invalid there
        *("0000:00.000", "00:0:00.000", "00:0000.000", "00:00:0.000", "00:00:00000"),
        *("00:00:00.00", "00:00:00.", "00:00:00", "00:00", "0", "", "0:00.000", "00:0.000"),
        *("00:00000", "00:00.00", ":00.", "."),
        # arrows.vtt, and a minute and a second that there are not
        *("00:00:00.000 --a", "00:00:00.000 -", "00:60.000", "00:00:60.000", "00:00:00,000"),
    ],
)
def test_times_that_browsers_leave_out_are_refused_with_their_line(timings: str) -> None:
    with pytest.raises(BadCaptions) as caught:
        read_captions(f"WEBVTT\n\nfirst\n{timings} --> 99:00:01.000\nSip.\n".encode())
    assert caught.value.line == 4


WRONG = [
    (b"00:00.000 --> 00:01.000\nSip.", 1, "the signature is missing"),
    (b"WEBVTTX\n\n00:00.000 --> 00:01.000\nSip.", 1, "another word"),
    (b"1\n00:00:00,000 --> 00:00:01,000\nSip.\n", 1, "SRT"),
    (b"WEBVTT\n00:00.000 --> 00:01.000\nSip.", 2, "no empty line below the signature"),
    (b"WEBVTT\n\n00:01.000 --> 00:00.999\nSip.", 3, "timings-negative.vtt"),
    (b"WEBVTT\n\n00:00.000 --> 00:00.000\nSip.", 3, "timings-negative.vtt: no length"),
    (b"WEBVTT\r\n\r\n00:02.000 --> 00:03.000\r\nA\r\n\r\n00:01.000 --> 00:03.000\r\nB", 6, "order"),
    (b"WEBVTT\n\n00:01.000 --> 00:02.000\nA\n00:02.000 --> 00:03.000\nB", 5, "no line between"),
    (b"WEBVTT\n\n00:01.000 --> 00:02.000\n<b></b>\n", 3, "nothing said"),
    (b"WEBVTT\n\nNOTE nothing else\n", 4, "no captions at all"),
    (b"WEBVTT\n\n00:01.000 --> 00:02.000\nca\xf1a\n", 4, "another encoding"),
]


@pytest.mark.parametrize("data, line, why", WRONG, ids=[row[2] for row in WRONG])
def test_what_is_wrong_is_told_with_its_line(data: bytes, line: int, why: str) -> None:
    with pytest.raises(BadCaptions) as caught:
        read_captions(data)
    assert caught.value.line == line
    assert str(caught.value).startswith(f"Line {line}: ")


def test_what_is_served_says_the_same_without_styles_and_comments() -> None:
    text = (
        "\ufeffWEBVTT - Sips\r\n\r\nSTYLE\r\n::cue { color: red }\r\n\r\nNOTE for us\r\n\r\n"
        "one\r\n00:01.000 --> 00:02.500 align:start onload:x\r\n<v Ana>Sip &amp; wait.\r\n"
    )
    cues = read_captions(text.encode())
    again = written(cues)
    assert again == "WEBVTT\n\n00:00:01.000 --> 00:00:02.500 align:start\n<v Ana>Sip &amp; wait.\n"
    assert read_captions(again.encode()) == cues
    assert spoken(cues) == "Sip & wait."
