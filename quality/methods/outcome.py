"""Entries: what comes out of the pot, losses, and correction of the alkali."""

from __future__ import annotations

from quality.methods.entries import Method

ENTRIES: list[Method] = [
    Method(
        name="Soap, glycerol and water",
        gives="potassium soap, glycerol, water of free acid, oil left over, in grams",
        formula=(
            "used = min(Σ m·SV/1000, KOH); glycerol = 0.5471·(used − free acid's KOH);"
            " water = 0.3211·free acid's KOH; oil left = oil·(1 − used/need);"
            " soap = oil − oil left + used − glycerol − water"
        ),
        source=(
            "stoichiometry of triglyceride and fatty acid with KOH; atomic weights of"
            " IUPAC, abridged, 2021; free acid by the acid value, ISO 660"
        ),
        valid=(
            "oils of 160 to 280 mg KOH/g. Mono- and diglycerides count as triglyceride;"
            " free acid as none where no acid value was titrated"
        ),
        refuses=(
            "masses below zero, an acid value above the saponification value, and"
            " saponification values outside 160 to 280"
        ),
        function="batches.chemistry.outcome.react",
    ),
    Method(
        name="Acid in the pot",
        gives="what an acid leaves of alkali and soap, in grams",
        formula=(
            "taken = m·f; first from free KOH, as salt and water; the rest from soap,"
            " which becomes fatty acid: soap split = rest·soap/KOH in it"
        ),
        source="stoichiometry, KOH + HA → KA + H2O, RCOOK + HA → RCOOH + KA",
        valid="when all has reacted; citric acid counts with all three protons",
        refuses="more acid than all the alkali in the pot can take up",
        function="batches.chemistry.outcome.acid_charge",
    ),
    Method(
        name="Soap content",
        gives="soap in percent by mass of what came out, with ± by a budget",
        formula=(
            "soap·100/(mass weighed + losses of product); a dilution has the content"
            " of each paste times its mass"
        ),
        source=(
            "definition of the mass fraction; uncertainty by JCGM 100:2008; where |E|"
            " is below 3·u(E) mean and u of the lesser of what oil and potash"
            " allow, by C. E. Clark, Operations Research 9 (1961) 145 (from memory)"
        ),
        valid=(
            "after the yield was weighed. What is missing and not written down counts"
            " as water that boiled off, as far as there was water"
        ),
        refuses="a batch whose content or yield is not known, and a yield above 100 %",
        function="batches.chemistry.outcome.content_percent",
    ),
    Method(
        name="Theoretical and percentage yield",
        gives="all that went in, in grams, and what came out in percent of it",
        formula="theoretical = Σ charges; yield = actual·100/theoretical",
        source="21 CFR 210.3(b)(17) to (19), the terms; conservation of mass",
        valid="any batch; above 100 % it is a weighing error",
        refuses="a batch into which nothing was weighed",
        function="batches.chemistry.yields.percentage_yield",
    ),
    Method(
        name="Where the mass went",
        gives="evaporation, known losses and what is unexplained, in grams",
        formula=(
            "in = out + known losses + evaporation + unexplained; evaporation is at"
            " most the water there is"
        ),
        source="conservation of mass; 2 % unexplained to look at: ours, no source",
        valid=(
            "any batch that was weighed. Without a weighing of the pot before and"
            " after, evaporation and unexplained loss stay together"
        ),
        refuses="masses below zero, and a batch into which nothing was weighed",
        function="batches.chemistry.yields.split_losses",
    ),
    Method(
        name="Dose of a correction",
        gives="grams of oil, acid or potash that bring the excess alkali back",
        formula=(
            "m = share·E/f; f = SV/1000 for an oil, 3·M(KOH)/M for citric acid, the"
            " usable share for potash"
        ),
        source=(
            "conservation of the KOH; nine tenths of the dose and a test afterwards is"
            " common practice, no source"
        ),
        valid="|E| above its expanded uncertainty; share above 0 up to 100 %",
        refuses=(
            "an excess inside its own uncertainty, a means that pushes the wrong way,"
            " more than 5 % of what is in the pot, and a pot that has not all reacted:"
            " titration and weighings further apart than √(U₁² + U₂²), or too much"
            " alkali, without a clear portion since the last charge"
        ),
        function="batches.chemistry.correction.dose_for",
    ),
    Method(
        name="Soap that acid splits",
        gives="grams of soap lost where a dose of acid overshoots",
        formula="overshoot in grams of KOH · soap/KOH in the soap",
        source="one KOH in each molecule of soap",
        valid="soap whose KOH is known; never more than all of it",
        refuses="a pot without soap",
        function="batches.chemistry.correction.soap_split",
    ),
    Method(
        name="Smallest mass a scale can weigh",
        gives="grams of net mass that a scale weighs closely enough",
        formula="2·u/share, u² = 2·step²/12 + ±²/3; share 5 % for a correction",
        source=(
            "JCGM 100:2008, 4.3.7 and 5.1.2; 1 % for a charge and 5 % for a correction:"
            " ours, so that nine tenths of a dose cannot pass the mark"
        ),
        valid="gross and tare on one scale",
        refuses="a dose below it",
        function="batches.chemistry.correction.check_scale",
    ),
]
