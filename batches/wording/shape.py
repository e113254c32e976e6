"""Which fixed phrases there are. Each language says all of them, or it is no language.

>>> "batch" in [field.name for field in dataclasses.fields(Words)]
True
"""

from __future__ import annotations

import dataclasses


@dataclasses.dataclass(frozen=True, kw_only=True)
class Words:
    """Every fixed phrase of a label and of the public bottle page in one language.

    Phrases named ``…_title`` are headings, ``…_text`` the sentences below them, tuples
    are sentences one after the other. ``bands`` are the classes of contents in the
    order of ``CONTENTS_BANDS`` of :mod:`batches.chemistry.dilution`.
    """

    language: str
    language_name: str
    months: tuple[str, ...]
    decimal_mark: str

    # on the label, and as names of facts on the page
    product: str
    batch: str
    bottle: str
    number: str
    filled: str
    use_by: str
    net_quantity: str
    contents: str
    soap: str
    bands: tuple[str, ...]
    directions: str
    cautions_title: str
    cautions: tuple[str, ...]
    spray_title: str
    spray_own_use: str
    spray_cautions: tuple[str, ...]
    authority_number: str
    poison_centre: str
    signal_warning: str
    signal_danger: str
    specimen: str
    copy: str

    # the table of doses for a wash
    doses_title: str
    doses_unit: str
    water_hardness: str
    water_soft: str
    water_medium: str
    water_hard: str

    # the public bottle page
    contact: str
    telephone: str
    email: str
    tell_us: str
    about_bottle: str
    recall: str
    recall_none: str
    recall_see_above: str
    recall_opened: str
    recall_closed: str
    recall_title: str
    recall_text: str
    recall_over_title: str
    recall_over_text: str
    on_hold_title: str
    on_hold_text: str
    not_released_title: str
    not_released_text: str
    destroyed_title: str
    destroyed_text: str
    returned_title: str
    returned_text: str
    kept_title: str
    kept_text: str
    past_use_by_title: str
    past_use_by_text: str
    duplicate_title: str
    duplicate_text: str
    unknown_title: str
    unknown_text: str
    mistyped_title: str
    mistyped_text: str
    too_many_title: str
    too_many_text: str
    type_code: str
    show: str
    language_choice: str
    text_not_in_language: str
    label_is_of_record: str
    sign_in: str
    records_kept_with: str
    demo: str
