"""The fixed words in English.

The cautions are those of ``templates/cautions``. The classes of contents are word for
word those of Regulation (EC) 648/2004, Annex VII A.

>>> ENGLISH.bands[0]
'less than 5 %'
"""

from __future__ import annotations

from typing import Final

from batches.wording.shape import Words

ENGLISH: Final = Words(
    language="en",
    language_name="English",
    months=(
        "Jan",
        "Feb",
        "Mar",
        "Apr",
        "May",
        "Jun",
        "Jul",
        "Aug",
        "Sep",
        "Oct",
        "Nov",
        "Dec",
    ),
    decimal_mark=".",
    product="Product",
    batch="Batch",
    bottle="Bottle",
    number="no.",
    filled="Filled",
    use_by="Use by",
    net_quantity="Net quantity",
    contents="Contents",
    soap="soap",
    bands=(
        "less than 5 %",
        "5 % or over but less than 15 %",
        "15 % or over but less than 30 %",
        "30 % and more",
    ),
    directions="How to use it",
    cautions_title="Handle it with care",
    cautions=(
        "Not for skin, hair, food or animals.",
        "Keep out of reach of children.",
        (
            "Alkaline. In the eyes: rinse at once with water for at least 20 minutes,"
            " contact lenses out, and get medical advice."
        ),
        "Do not mix with acids or bleach.",
        "Not on wool, silk or aluminium.",
        "Keep in this bottle. Never fill into drinks bottles.",
    ),
    spray_title="On plants: your own, on your own land, at your own risk",
    spray_own_use="For own use on the premises only. Not for sale or gift.",
    spray_cautions=(
        "Check local law.",
        "Test one leaf, wait 24 to 48 hours.",
        (
            "Not in sun, heat, wind, drought or frost; not on open flowers or when bees"
            " fly."
        ),
        "Gloves, goggles, long sleeves.",
        "Harmful to fish and water life: keep away from ponds, ditches and drains.",
    ),
    authority_number="Authority's number",
    poison_centre="Poison centre",
    signal_warning="Warning",
    signal_danger="Danger",
    specimen="SPECIMEN",
    copy="copy",
    doses_title="Dose for one load",
    doses_unit="ml per load",
    water_hardness="Water",
    water_soft="soft",
    water_medium="medium",
    water_hard="hard",
    contact="Contact",
    telephone="Telephone",
    email="E-mail",
    tell_us="Tell us, please.",
    about_bottle="About this bottle",
    recall="Recall",
    recall_none="none known",
    recall_see_above="see the warning above",
    recall_opened="opened",
    recall_closed="closed",
    recall_title="Recall: do not use this bottle",
    recall_text="Keep the bottle closed, out of reach of children, and contact us.",
    recall_over_title="This bottle was recalled",
    recall_over_text="The recall is closed. Do not use the bottle; contact us.",
    on_hold_title="On hold: do not use this bottle for now",
    on_hold_text="We are looking at it again. Keep the bottle closed and contact us.",
    not_released_title="Not released yet: do not use this bottle",
    not_released_text=(
        "By our records it has not been released and never left us. Keep it closed, and"
        " tell us where you found it."
    ),
    destroyed_title="This bottle should not exist",
    destroyed_text=(
        "It was recorded as destroyed. Do not use what is in it, and tell us where you"
        " found it."
    ),
    returned_title="This bottle came back to us",
    returned_text=(
        "By our records nobody should have it. Do not use what is in it, and tell us"
        " where you found it."
    ),
    kept_title="We keep this bottle as a sample",
    kept_text=(
        "By our records it stands with us, and nobody else should have it. Do not use"
        " what is in it, and tell us where you found it."
    ),
    past_use_by_title="Past its use-by date",
    past_use_by_text="Do not use what is left. Dispose of it as your place says.",
    duplicate_title="More than one bottle may carry this code",
    duplicate_text=(
        "We are looking into it. Do not use what is in it for now, keep it closed, and"
        " tell us where you found it."
    ),
    unknown_title="This code was not issued by us",
    unknown_text=(
        "The code is well formed, but no bottle of ours carries it. If you hold a"
        " bottle with this code, do not use it, and tell us."
    ),
    mistyped_title="This is not a bottle code",
    mistyped_text=(
        "A character is wrong or missing. A bottle code has three groups of four"
        " characters and no 0, 1, I, L, O or U. Scan the label, or type the code again."
    ),
    too_many_title="Too many codes at once",
    too_many_text=(
        "From where you are, many codes were asked for in a short time. Wait ten"
        " minutes, then try again. If it is urgent, call us."
    ),
    type_code="Code on the bottle",
    show="Show",
    language_choice="Language",
    text_not_in_language="Part of this text is only in another language.",
    label_is_of_record="What is printed on the label of your bottle counts.",
    sign_in="For our own people: sign in",
    records_kept_with="Records kept with",
    demo="Demo: an invented smallholding. Nothing here is a real record.",
)
