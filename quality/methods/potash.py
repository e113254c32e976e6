"""Usable potash, ageing and titration."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

ENTRIES: Final[list[Method]] = [
    Method(
        name="Usable share of potash, from an assay as it stands",
        gives="grams of KOH per gram of potash",
        formula="hydroxide basis: A; total alkali: A − c(K2CO3) · 2·M(KOH)/M(K2CO3)",
        source="USP–NF, Potassium Hydroxide; that carbonate makes no soap in a warm"
        " pot is common practice",
        valid="an assay above 0 up to 100 %",
        refuses="percentages no potash has, hydroxide and carbonate above 100 %,"
        " potash that is all carbonate, an assay that does not say what it counts",
        function="batches.chemistry.potash.usable_fraction",
    ),
    Method(
        name="Usable share of potash, with its uncertainty",
        gives="grams of KOH per gram of potash, standard uncertainty and shape",
        formula=(
            "as above; “minimum”: middle of [min, min + 2 %], cut at 100 %;"
            " no ± stated: ± 0.5 %; carbonate not stated: middle of 0 to 3.5 %;"
            " u = width/√12"
        ),
        source="GUM 4.3.7 for the rectangle, USP–NF for 3.5 %; the 2 % and the 0.5 %"
        " are common practice, no source",
        valid="as above, a stated ± up to 5 %",
        refuses="as above, and a ± of 0 or above 5 %",
        function="batches.chemistry.potash.usable_share",
    ),
    Method(
        name="An interval and nothing more",
        gives="middle and standard uncertainty, in the unit of its ends",
        formula="(low + high)/2, u = (high − low)/√12",
        source="JCGM 100:2008 (GUM) 4.3.7; used for ranges of oils, Codex CXS 210",
        valid="any interval",
        refuses="ends that are upside down",
        function="batches.chemistry.estimates.rectangular",
    ),
    Method(
        name="Result and ± rounded together",
        gives="value and U to the same place",
        formula="U to two digits, rounded up; the value to that place",
        source="GUM 7.2.6",
        valid="any",
        refuses="nothing; a U of 0 leaves the value as it is",
        function="batches.chemistry.estimates.plus_minus",
    ),
    Method(
        name="Container against the book",
        gives="agrees, hold and retest, or unlogged loss",
        formula=(
            "gain Δ = net − book; hold if Δ > 0.3 % of the book or Δ > 2 U;"
            " loss if Δ < −2 U; U = 2·u(scale)·√(2·(1 + draws since the book was set))"
        ),
        source="that potash takes water and carbon dioxide from air: International"
        " Chemical Safety Card 0357; the thresholds are ours",
        valid="all containers of a lot together",
        refuses="net or book that is not above zero",
        function="batches.chemistry.ageing.weigh_against_book",
    ),
    Method(
        name="What a gain of weight leaves usable",
        gives="least and most grams of KOH per gram as it weighs now",
        formula="all CO2: (P·b − 2·M(KOH)/M(CO2)·Δ)/(b + Δ); all water: P·b/(b + Δ)",
        source="conservation of mass, 2 KOH + CO2 → K2CO3 + H2O; IUPAC masses",
        valid="a gain; without one the share is as it was",
        refuses="a usable share of 0 or above 1",
        function="batches.chemistry.ageing.usable_after",
    ),
    Method(
        name="Potash that got heavier since it was last known",
        gives="grams of KOH per gram as it weighs now, standard uncertainty and shape",
        formula=(
            "middle of the least and the most that a gain leaves usable;"
            " u² = (most − least)²/12 + (u before · b/(b + Δ))²"
        ),
        source="GUM 4.3.7 for the rectangle, 5.1.2 for the sum",
        valid="from a weighing that says hold and retest, until a later titration or a"
        " certificate printed later",
        refuses="a lot without assay and titration",
        function="batches.services.figures.potash_fraction",
    ),
    Method(
        name="Free alkali by titration in alcohol",
        gives="percent of KOH by mass",
        formula="5.61·(V − V0)·c/m",
        source="ISO 456, ethanol method, for the way; the formula is stoichiometry",
        valid="soap in neutral alcohol, titrant 0.001 to 5 mol/l",
        refuses="masses and volumes no bench has, a blank above the sample, more than"
        " 100 %",
        function="batches.chemistry.titration.free_alkali",
    ),
    Method(
        name="Total alkali by back-titration",
        gives="percent of KOH by mass",
        formula="5.61·(V0·c0 − V1·c1)/m",
        source="ISO 685 for the way; the formula is stoichiometry",
        valid="titrants of 0.001 to 5 mol/l; not on a screen",
        refuses="more alkali put back than acid put in, more than 100 %",
        function="batches.chemistry.titration.total_alkali",
    ),
    Method(
        name="Saponification value by titration",
        gives="mg KOH per gram of oil",
        formula="56.1·c·(V0 − V1)/m, blank less sample",
        source="ISO 3657; formula read in ASTM D94, clause 21",
        valid="160 to 280 mg KOH per gram",
        refuses="a blank that is not above the sample, a sample that left no potash,"
        " results outside the range",
        function="batches.chemistry.titration.saponification_value",
    ),
    Method(
        name="Acid value by titration",
        gives="mg KOH per gram of oil",
        formula="56.1·c·(V − V0)/m",
        source="EN 14104, clause 10; ISO 660",
        valid="0 to 400 mg KOH per gram",
        refuses="a blank above the sample, results outside the range",
        function="batches.chemistry.titration.acid_value",
    ),
    Method(
        name="Volume of alcoholic titrant, corrected for temperature",
        gives="ml at the temperature its strength was determined at",
        formula="V′ = V·[1 − 0.0011·(t − t0)]",
        source="EN 14104, clause 10, note",
        valid="5 to 40 °C",
        refuses="other temperatures: no extrapolation",
        function="batches.chemistry.titration.volume_at_standard_temperature",
    ),
    Method(
        name="Free fatty acid from the acid value",
        gives="percent by mass, as the acid whose molar mass is given",
        formula="AV·M(acid)/(10·M(KOH))",
        source="Low and Ng, SEAFDEC manual, after Pearson 1976",
        valid="an acid value of 0 and more",
        refuses="an acid value below zero, an acid without mass",
        function="batches.chemistry.titration.free_fatty_acid_percent",
    ),
    Method(
        name="Hydroxide and carbonate in a lye, by two end points",
        gives="mmol of each",
        formula="hydroxide (2a − b)·c, carbonate (b − a)·c; a to phenolphthalein,"
        " b all acid to methyl orange",
        source="Warder's method, as in the assay of USP–NF, Potassium Hydroxide",
        valid="lye and potash with a above b/2; not soap, which takes acid itself",
        refuses="a second end point before the first, a first end point not after"
        " half of all the acid",
        function="batches.chemistry.titration.hydroxide_and_carbonate",
    ),
    Method(
        name="Potash by two end points",
        gives="percent of KOH and percent of K2CO3 by mass",
        formula="5.61·(2a − b)·c/m and 13.82·(b − a)·c/m",
        source="USP–NF and JECFA, Potassium Hydroxide: 138.2 mg of K2CO3 a ml of 1 N",
        valid="as above",
        refuses="as above, and more than 100 % together",
        function="batches.chemistry.titration.potash_by_two_indicators",
    ),
    Method(
        name="Result of several samples, with its uncertainty",
        gives="mean, standard deviation, standard uncertainty, who stands out",
        formula=(
            "u² = s²/n + (x·u(c)/c)² + (x·u(m)/m)² + readings·(x per ml·u(V))²;"
            " titrant, burette and balance do not shrink with n"
        ),
        source="GUM 4.2.3, 4.3.7, 5.1.2",
        valid="one sample and more; with one, s is not known and left out, and said so",
        refuses="no sample that counts, a burette without ±, potash without its second"
        " end point, a saponification value without its blank",
        function="batches.chemistry.replicates.determine",
    ),
    Method(
        name="Does a sample stand out?",
        gives="which one, or none; it is marked and kept",
        formula="G = max|x − x̄|/s above (n − 1)/√n·√(t²/(n − 2 + t²)),"
        " t at α/(2n) with n − 2",
        source="Grubbs' test, NIST/SEMATECH e-Handbook 1.3.5.17.1, two-sided, 5 %",
        valid="three samples and more",
        refuses="nothing; below three it says nothing",
        function="batches.chemistry.outliers.standing_out",
    ),
    Method(
        name="Alkali that citric acid takes up",
        gives="grams of KOH per gram of acid",
        formula="3·M(KOH)/M(acid), anhydrous 192.12, monohydrate 210.14 g/mol",
        source="stoichiometry, IUPAC masses; ± 0.5 % is common practice, no source",
        valid="citric acid, anhydrous or with one water",
        refuses="any other acid",
        function="batches.chemistry.acids.koh_per_gram",
    ),
    Method(
        name="Slips at the bench",
        gives="nothing, or a sentence with the likely slip",
        formula=(
            "free alkali 1 to 50 g of paste, other samples 0.2 to 20 g; titrant 0.005"
            " to 2 mol/l and known to 5 % of it; burette to 0.5 ml"
        ),
        source="common practice, no source",
        valid="every titration",
        refuses="what lies outside, and a load above what the scale carries",
        function="batches.chemistry.slips.check_samples",
    ),
]
