"""Read the languages that whoever runs the programme added, when the settings are read.

They are named in `languages.toml` in one folder, with their catalogues below it, as Django looks
for them: `fr/LC_MESSAGES/django.mo`. So a language is added without a change of code.
"""

from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from patients.rules.languages import BUILT_IN, LanguagesError, choices, offer, read_languages

FILE = "languages.toml"


def offer_languages(folder: Path) -> list[tuple[str, str]]:
    """Offer the languages that a folder names beside English and Spanish; return all of them.

    Raises ImproperlyConfigured with everything that is wrong with the file; without one there are
    none beside.
    """
    path = folder / FILE
    try:
        offer(read_languages(path.read_text(encoding="utf-8")) if path.is_file() else BUILT_IN)
    except (OSError, UnicodeDecodeError) as error:
        raise ImproperlyConfigured(f"{path} cannot be read: {error}.") from error
    except LanguagesError as error:
        raise ImproperlyConfigured(f"{path}: {error}") from error
    return choices()
