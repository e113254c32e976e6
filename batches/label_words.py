"""The fixed words of a label and of the bottle page, by language.

What the maker writes stands in the approved texts of a label; what never changes
stands in :mod:`batches.wording`. A date is always written with the month in letters, a
volume with the decimal mark of the language.

>>> words_in("de").batch, words_in("en").batch
('Charge', 'Batch')
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.wording.english import ENGLISH
from batches.wording.german import GERMAN
from batches.wording.shape import Words
from producer.quantities import format_volume

__all__ = [
    "LANGUAGES",
    "Words",
    "band_in",
    "contents_in",
    "day_in",
    "signal_in",
    "volume_in",
    "words_in",
]

_WORDS: Final[Mapping[str, Words]] = MappingProxyType({"en": ENGLISH, "de": GERMAN})

# Code and name, in the language itself, of each language we have the fixed words of.
LANGUAGES: Final[Mapping[str, str]] = MappingProxyType(
    {code: words.language_name for code, words in _WORDS.items()}
)


def words_in(language: str) -> Words:
    """Return the fixed words in a language, English where we have none.

    ``language`` is a language tag of RFC 5646; only its first part counts.

    >>> words_in("de-AT").poison_centre
    'Giftnotruf'
    >>> words_in("fr").language
    'en'
    """
    return _WORDS.get(language.lower().split("-")[0], ENGLISH)


def day_in(date: datetime.date, language: str) -> str:
    """Return a day that no country misreads: the month in letters, four-digit year.

    >>> day_in(datetime.date(2027, 3, 7), "en"), day_in(datetime.date(2027, 3, 7), "de")
    ('7 Mar 2027', '7. Mär 2027')
    """
    words = words_in(language)
    dot = "." if words.language == "de" else ""
    return f"{date.day}{dot} {words.months[date.month - 1]} {date.year:04}"


def volume_in(ul: int, language: str) -> str:
    """Return a volume in microlitres, exactly, with the decimal mark of the language.

    >>> volume_in(500_000, "en"), volume_in(1_500_000, "de")
    ('500 ml', '1,5 l')
    """
    return format_volume(ul, mark=words_in(language).decimal_mark)


def band_in(wording: str, language: str) -> str:
    """Return a class of contents, given as ``ContentsBand.wording``, in a language.

    Source: Regulation (EC) 648/2004, Annex VII A, in both languages. Raises
    :class:`ValueError` for a wording that is none of the four.

    >>> band_in("less than 5 %", "de")
    'unter 5 %'
    """
    for band, words in zip(CONTENTS_BANDS, words_in(language).bands, strict=True):
        if band.wording == wording:
            return words
    raise ValueError(f"“{wording}” is no class of contents.")


def contents_in(wording: str, language: str) -> str:
    """Return what a label says of its contents: the class, and that it is soap.

    >>> contents_in("15 % or over but less than 30 %", "de")
    '15 % und darüber, jedoch weniger als 30 % Seife'
    """
    return f"{band_in(wording, language)} {words_in(language).soap}"


def signal_in(signal: str, language: str) -> str:
    """Return the signal word of a recorded classification, nothing for ``none``.

    ``signal`` is ``none``, ``warning`` or ``danger``. Source: Regulation (EC)
    1272/2008, Article 2 (4). Raises :class:`ValueError` for any other.

    >>> signal_in("danger", "de"), signal_in("none", "de")
    ('Gefahr', '')
    """
    words = words_in(language)
    said = {"none": "", "warning": words.signal_warning, "danger": words.signal_danger}
    if signal not in said:
        raise ValueError(f"“{signal}” is no signal word.")
    return said[signal]
