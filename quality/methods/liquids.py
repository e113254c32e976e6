"""Thinning, doses, hardness of water and the content of bottles."""

from __future__ import annotations

from quality.methods.entries import Method

_DILUTION = "batches.chemistry.dilution."
_HARDNESS = "batches.chemistry.hardness."
_DOSES = "batches.chemistry.doses."
_NET = "batches.chemistry.net_content."
_CONTENTS = "0 to 100 % of soap by mass; masses from zero."

ENTRIES: list[Method] = [
    Method(
        name="Water for a ratio",
        gives="water in g",
        formula="W = m · parts; ratios are by mass, never by jug",
        source="definition of the ratio",
        valid="Masses from zero, parts above zero.",
        refuses="A ratio of zero or below, a mass below zero.",
        function=_DILUTION + "water_for_ratio",
    ),
    Method(
        name="Water to a soap content",
        gives="water in g",
        formula="W = m · (S/T − 1), S the content of the very paste, T the target in %",
        source="conservation of the soap",
        valid="0 < T ≤ S ≤ 100 %.",
        refuses="A target of zero or above the content of the paste.",
        function=_DILUTION + "water_for_content",
    ),
    Method(
        name="Soap content of a liquid",
        gives="soap in % by mass, on pages with ± U (k = 2)",
        formula=(
            "S·m/(m + W); u by the slopes of this formula from u(S), both weighings and"
            " the ± of their scale, which is one input for both"
        ),
        source="conservation of the soap; JCGM 100:2008, 5.1.2",
        valid=_CONTENTS,
        refuses="No paste, water below zero, a content outside 0 to 100 %.",
        function=_DILUTION + "soap_content_after",
    ),
    Method(
        name="Water to boil off",
        gives="water in g",
        formula="W = m · (1 − S/T), the way back of the water to a soap content",
        source="conservation of the soap",
        valid="0 < S ≤ T ≤ soap/(soap + glycerol + what else does not boil off).",
        refuses="A target below the content or above that.",
        function=_DILUTION + "water_to_drive_off",
    ),
    Method(
        name="Class of contents",
        gives="the words for a label",
        formula="< 5, 5 to < 15, 15 to < 30, ≥ 30 % by mass, of the mean",
        source="Regulation (EC) 648/2004, Annex VII A; to be repealed in 2029",
        valid="Constituents above 0.2 %; an edge belongs to the class above it.",
        refuses="A content outside 0 to 100 %.",
        function=_DILUTION + "contents_band",
    ),
    Method(
        name="Question at the edge of a class",
        gives="a sentence, or none",
        formula=(
            "asked when value ± U, or the content if what is missing was product, lies"
            " in another class than the value"
        ),
        source="ours: the Regulation is silent about uncertainty",
        valid="U from zero.",
        refuses="A U below zero, a content outside 0 to 100 %.",
        function=_DILUTION + "band_question",
    ),
    Method(
        name="Hardness of water",
        gives="mmol/l, mg/l CaCO3, °dH, °fH, °e or gpg",
        formula=(
            "1 °dH = 10 mg CaO/l; 1 °fH = 10 mg CaCO3/l; 1 °e = 1 grain CaCO3 per"
            " imperial gallon; 1 gpg = 1 grain per US gallon; molar masses CaCO3"
            " 100.086, CaO 56.077 g/mol"
        ),
        source="definitions of the units; IUPAC atomic weights 2021",
        valid="0 to 20 mmol/l.",
        refuses="An unknown unit, a hardness below zero or above 20 mmol/l.",
        function=_HARDNESS + "convert",
    ),
    Method(
        name="Soft, medium, hard",
        gives="a word",
        formula="soft below 1.5, medium 1.5 to 2.5, hard above 2.5 mmol/l",
        source="German WRMG § 9 (2); other countries draw other lines",
        valid="0 to 20 mmol/l.",
        refuses="A hardness below zero or above 20 mmol/l.",
        function=_HARDNESS + "hardness_range",
    ),
    Method(
        name="Molar mass of the soap",
        gives="g/mol",
        formula=(
            "M = m(soap) · M(KOH)/m(KOH bound in it); for one neutral fat of value SV"
            " that is 1000 · 56.105/SV − 12.68 + 38.09"
        ),
        source="stoichiometry: one KOH for each soap",
        valid="150 to 400 g/mol.",
        refuses="No soap, a mean that no mixture of fats gives.",
        function=_DOSES + "soap_molar_mass",
    ),
    Method(
        name="Soap lost to hardness",
        gives="g, an upper bound",
        formula="2 · M(soap) · hardness · volume",
        source="2 RCOOK + Ca²⁺ → (RCOO)₂Ca + 2 K⁺; all calcium and magnesium caught",
        valid="0 to 20 mmol/l, litres from zero.",
        refuses="A hardness outside that, a volume below zero.",
        function=_DOSES + "soap_lost_to_hardness",
    ),
    Method(
        name="Tank of spray",
        gives="product in g",
        formula="(g per litre · litres + loss to hardness)/soap content",
        source="conservation of the soap; a litre of so thin a solution counts as 1 kg",
        valid="Above 0 to 30 g/l.",
        refuses="An empty tank, a rate outside that, a product too thin for it.",
        function=_DOSES + "spray_tank",
    ),
    Method(
        name="Rate of a tank that was weighed",
        gives="soap left to work, in g per litre; the least",
        formula="product · soap content/litres − 2 · M(soap) · hardness",
        source="conservation of the soap, the way back of the tank of spray",
        valid="A tank and a product above zero; hardness 0 to 20 mmol/l.",
        refuses="An empty tank, no product, a content outside 0 to 100 %.",
        function=_DOSES + "rate_of_tank",
    ),
    Method(
        name="What is said about a rate of spray",
        gives="a sentence",
        formula="5 to 8 g/l work, 10 g/l can kill plants; others spray about 2 %",
        source="Infonet-Biovision, Soap spray; Colorado State University 5.547",
        valid="Any rate; start low, and try one leaf.",
        refuses="Nothing: the tank refuses rates above 30 g/l.",
        function=_DOSES + "spray_rate_words",
    ),
    Method(
        name="Dose for a load of washing",
        gives="product in g, with a density in ml",
        formula="(soap that shall work + loss to hardness)/soap content",
        source=(
            "conservation of the soap; soap and water of a load are common practice, no"
            " source; medium hardness 2.5 mmol/l by Regulation (EC) 648/2004, Annex"
            " VII B"
        ),
        valid="0 to 20 mmol/l, a density above zero.",
        refuses="No soap, no water, a content outside 0 to 100 %.",
        function=_DOSES + "wash_dose",
    ),
    Method(
        name="Bottles from a mass",
        gives="whole bottles, and g left over",
        formula="⌊(m − heel)/(nominal · ρ + overfill)⌋, ρ at 20 °C",
        source="definition of density",
        valid="Masses from zero; size and density above zero.",
        refuses="Masses below zero, a size or density of zero.",
        function=_NET + "bottles_from_mass",
    ),
    Method(
        name="Tolerable negative error",
        gives="T in ml or g",
        formula=(
            "9 % to 50; 4.5 to 100; 4.5 % to 200; 9 to 300; 3 % to 500; 15 to 1000;"
            " 1.5 % to 10 000 ml; percentages rounded up to 0.1"
        ),
        source="76/211/EEC, Annex I 2.4; rounding FPackV § 9",
        valid="5 ml to 10 l.",
        refuses="A nominal quantity outside that.",
        function=_NET + "tolerable_negative_error",
    ),
    Method(
        name="Lot against its label",
        gives="accepted or not, in words",
        formula=(
            "mean ≥ nominal − a·s (a = 0 where all are weighed, 0.503 for 30 of 100 to"
            " 500, 0.379 for 50 of more, 0.640 for 20 opened); few below nominal − T;"
            " none below nominal − 2·T"
        ),
        source=(
            "76/211/EEC, Annex I 1 and 5, Annex II; S.I. 2006/659, Schedule 2; where"
            " all are weighed two of a hundred may be below T, FPackV § 9 (3)"
        ),
        valid="5 ml to 10 l; below 100 bottles every one is weighed.",
        refuses="Too few bottles, more than the lot has, a size without a rule.",
        function=_NET + "lot_check",
    ),
    Method(
        name="Net masses that a bottle can have",
        gives="a refusal, or none",
        formula="0.5 to 1.5 · nominal · ρ",
        source="ours: finds slips of the decimal point and nothing else",
        valid="any size and density",
        refuses="A net mass outside that, by its number in the list.",
        function="batches.chemistry.weighed_bottles.check_net_masses",
    ),
    Method(
        name="How well the mean of weighed bottles is known",
        gives="U in ml, k = 2, and a sentence where the mean is not clear of the label",
        formula=(
            "U = 2·√((step²/6/n + (±)²/3)/ρ² + (mean·0.005)²/3); the verdict stays that"
            " of the rule"
        ),
        source=(
            "JCGM 100:2008, 4.3.7, 4.3.9, 5.1.2; ± 0.5 % of a density is common"
            " practice, no source"
        ),
        valid="Bottles of one lot on one scale; how they differ is left to the rule.",
        refuses="No bottles, a density of zero.",
        function="batches.chemistry.weighed_bottles.mean_uncertainty_ml",
    ),
    Method(
        name="Mean content against a limit",
        gives="mean content in % of the nominal one, and its u in %",
        formula=(
            "100·mean/nominal; u² = (U/2)² + s²/n·(1 − n/N): U by scale and density, s"
            " of the n weighed bottles, N those of the lot"
        ),
        source=(
            "JCGM 100:2008, 4.2.3 and 5.1.2; 1 − n/N from memory, W. G. Cochran,"
            " Sampling Techniques"
        ),
        valid="Bottles of one lot taken at random, or all of them.",
        refuses="More bottles than the lot has.",
        function="batches.chemistry.weighed_bottles.share_of_nominal",
    ),
    Method(
        name="Scale for the check of a bottle",
        gives="yes or no",
        formula="U(net)/ρ ≤ T/5; u² = step²/6 + (±)²/3, U = 2·u",
        source="WELMEC guide 6.9; JCGM 100:2008, 4.3.7 and 4.3.9",
        valid="5 ml to 10 l, a density above zero.",
        refuses="A density of zero, a size without a rule.",
        function=_NET + "scale_is_fit",
    ),
]
