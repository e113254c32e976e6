"""A label text as it will look, before there is anything to print it for."""

from __future__ import annotations

from django.utils import timezone

from batches.chemistry.dilution import CONTENTS_BANDS
from batches.documents.labels.design import EXAMPLE_CODE
from batches.label_text import LabelText, Serial
from batches.label_words import contents_in, day_in, volume_in, words_in
from batches.models import FillingLot, LabelVersion
from batches.services.formulas import newest_version
from batches.services.labelling import contact_of, hazard_of
from producer.codes import numbered_code
from producer.models import Premises

EXAMPLE = Serial(EXAMPLE_CODE, 1)
USUAL_UL = 500_000
EXAMPLE_NUMBER = 9999


def example_of(label: LabelVersion) -> LabelText:
    """Return a label text with a batch and days that stand for those to come.

    The quantity is that of the newest filling lot of the product, or half a litre. The
    class of contents is the one with the most words, so that what fits here fits.
    """
    today = timezone.localdate()
    language, words = label.language, words_in(label.language)
    lot = (
        FillingLot.objects.filter(batch__formula_version__formula=label.formula)
        .order_by("-pk")
        .first()
    )
    nominal = lot.nominal_ul if lot else USUAL_UL
    bands = [contents_in(band.wording, language) for band in CONTENTS_BANDS]
    premises = Premises.objects.get()
    return LabelText(
        language=language,
        product_name=label.product_name,
        net=volume_in(nominal, language),
        net_ul=nominal,
        batch=numbered_code("B", today.year, EXAMPLE_NUMBER),
        filled=day_in(today, language),
        use_by=day_in(today, language),
        contents=max(bands, key=len),
        directions=label.directions,
        cautions=label.cautions,
        doses=tuple(
            (water, "000 ml")
            for water in (words.water_soft, words.water_medium, words.water_hard)
            if label.doses
        ),
        hazard=hazard_of(label),
        purpose=label.formula.purpose,
        authority_reference=newest_version(label.formula).authority_reference,
        contact=contact_of(premises),
        poison_centre=premises.poison_centre,
    )
