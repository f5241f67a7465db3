"""Does a text tell a year? Not where its four digits stand by chance in a longer number.

The separator of an email's parts and the seconds that a task took hold other digits at each run.
"""

import re


def dated(text: str, *, year: int) -> bool:
    """Tell whether the year stands in the text: alone, or in a date of eight digits."""
    return bool(re.search(rf"(?<!\w)(\d{{4}})?{year}(\d{{4}})?(?!\w)", text))
