"""Lye, its heat, and what the pH test sees."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

ENTRIES: Final[list[Method]] = [
    Method(
        name="Strength of the lye",
        gives="grams of KOH per gram of lye",
        formula="w = m(potash) · P / (m(potash) + m(water))",
        source="definition of the mass fraction",
        valid="any potash and water",
        refuses="masses below zero, nothing at all, a usable share above 1 or of 0",
        function="batches.chemistry.lye.lye_strength",
    ),
    Method(
        name="Solubility of potash",
        gives="grams of KOH that 100 g of water dissolve",
        formula="linear between 97 g at 0 °C and 112 g at 20 °C",
        source=(
            "Great Soviet Encyclopedia, Potassium Hydroxide; checked against the NIOSH"
            " Pocket Guide (107 g at 15 °C)"
        ),
        valid="0 to 20 °C; published values for warmer lye differ by up to a tenth",
        refuses="other temperatures",
        function="batches.chemistry.lye.solubility",
    ),
    Method(
        name="Whether the lye stays clear",
        gives="yes or no",
        formula="w ≤ s / (s + 100), s = solubility in g per 100 g of water",
        source="as the solubility; what is not KOH counts as water",
        valid="0 to 20 °C",
        refuses="other temperatures, a strength that is no share",
        function="batches.chemistry.lye.dissolves",
    ),
    Method(
        name="Density of the lye",
        gives="g/ml",
        formula=(
            "1/ρ = (1 − w)/ρ(water) + w/ρ(app),"
            " ρ(app) = (c0·w + c1)·exp(1e-6·(t + c4)²)/(w + c2 + c3·t)"
        ),
        source="Laliberté, J. Chem. Eng. Data 54 (2009) 1725, 237 measurements",
        valid="w up to 0.5186, 4 to 95 °C",
        refuses="anything beyond: no extrapolation",
        function="batches.chemistry.lye.density",
    ),
    Method(
        name="Volume of the lye",
        gives="ml",
        formula="V = m/ρ(w, t)",
        source="definition of density",
        valid="as the density",
        refuses="a mass below zero, and what the density refuses",
        function="batches.chemistry.lye.volume",
    ),
    Method(
        name="Heat capacity of the lye",
        gives="J/(g K)",
        formula=(
            "c = (1 − w)·c(water) + w·(a1·exp(α) + a5·w^a6),"
            " α = a2·t + a3·exp(0.01·t) + a4·w"
        ),
        source="Laliberté, J. Chem. Eng. Data 54 (2009) 1725, 285 measurements",
        valid="w up to 0.4653, 4 to 120 °C",
        refuses="anything beyond: no extrapolation",
        function="batches.chemistry.lye.heat_capacity",
    ),
    Method(
        name="Heat of solution of potash with hydrate in it",
        gives="kJ per mole of KOH",
        formula=(
            "q = 57.61 − x·(57.61 − 14.64), x = moles of water in the potash per mole"
            " of KOH, at most 1"
        ),
        source=(
            "CRC Handbook, Enthalpy of Solution of Electrolytes (Parker, NSRDS-NBS 2,"
            " 1965), 25 °C, infinite dilution"
        ),
        valid="usable share above 0 and up to 1",
        refuses="any other share",
        function="batches.chemistry.heat.heat_of_solution",
    ),
    Method(
        name="How hot the lye gets",
        gives="°C, a lower and an upper figure, or “it will boil”",
        formula=(
            "w·q/M(KOH) = ∫ c(w, t) dt from the start to the peak; q of hydrate for"
            " the lower figure, 57.61 kJ/mol for the upper; from 100 °C on no number"
        ),
        source=(
            "energy balance without losses; enthalpies and heat capacity as above. In"
            " strong lye less heat is set free than at infinite dilution: the upper"
            " figure errs on the safe side"
        ),
        valid="lye up to 46.5 %, start from 4 to 100 °C",
        refuses="stronger lye, other starts, masses of zero or below",
        function="batches.chemistry.heat.heating",
    ),
    Method(
        name="Water that keeps the lye under a temperature",
        gives="g of water",
        formula="the inverse of the upper figure above, by halving",
        source="as above",
        valid="limits between the start and 100 °C",
        refuses="a limit at or below the start or from boiling on",
        function="batches.chemistry.heat.water_to_stay_under",
    ),
    Method(
        name="How cold the water must be",
        gives="°C, or that none is cold enough",
        formula=(
            "the highest common start for the limit; water = (start·(mp + mw) −"
            " room·mp)/mw"
        ),
        source="as above; potash counted with the heat capacity of lye, the safe side",
        valid="a common start of 4 °C or more, water of 0 °C or more",
        refuses="as above",
        function="batches.chemistry.heat.water_temperature_to_stay_under",
    ),
    Method(
        name="Density of water",
        gives="g/ml at 101.325 kPa",
        formula="Kell's fraction of powers of t",
        source="Kell, J. Chem. Eng. Data 20 (1975) 97; checked against IAPWS-95",
        valid="0 to 100 °C",
        refuses="other temperatures",
        function="batches.chemistry.water.density",
    ),
    Method(
        name="Heat capacity of water",
        gives="J/(g K)",
        formula="4.2174356 + powers 1, 1.5, 2 and 2.5 of t",
        source=(
            "Popiel and Wojtkowiak, Heat Transfer Eng. 19 (1998) 87; within 0.1 % of"
            " IAPWS-95"
        ),
        valid="0 to 130 °C",
        refuses="other temperatures",
        function="batches.chemistry.water.heat_capacity",
    ),
    Method(
        name="Ionisation of water",
        gives="pKw (molality)",
        formula="Bandura and Lvov's equation in T and the density of water",
        source="IAPWS R11-24; checked against its check values and the CRC Handbook",
        valid="0 to 100 °C",
        refuses="other temperatures",
        function="batches.chemistry.water.ionisation",
    ),
    Method(
        name="Activity coefficient of a singly charged ion",
        gives="γ",
        formula="log γ = −0.509·(√I/(1 + √I) − 0.3·I)",
        source="Davies, Ion Association, 1962, p. 41; A of 25 °C",
        valid="ionic strength up to 0.1 mol/kg",
        refuses="more",
        function="batches.chemistry.ph.activity_coefficient",
    ),
    Method(
        name="pH that free alkali gives to a test solution",
        gives="pH, the least that this alkali gives",
        formula=(
            "pH = pKw + log(γ·m(OH)), m(OH) = (m + √(m² + 4·Kw/γ²))/2, m = free KOH ·"
            " strength/M"
        ),
        source="definition of pH; pKw of IAPWS R11-24; γ of Davies, or 1 (ideal)",
        valid=(
            "solutions up to 20 %, 0 to 50 °C; 0.1 mol/kg of KOH with Davies, 1"
            " ideal. Leaves out the alkalinity of the soap itself, and sees no oil"
        ),
        refuses="stronger solutions, other temperatures, shares below 0 or above 100 %",
        function="batches.chemistry.ph.expected_ph",
    ),
    Method(
        name="Free alkali that a pH can stand for",
        gives="% KOH of the paste, the most that can be behind it",
        formula="the inverse of the above, by halving",
        source="as above",
        valid="from neutral to the pH of 0.1 mol/kg of KOH",
        refuses="a pH below neutral or above what the formula covers",
        function="batches.chemistry.ph.free_alkali",
    ),
    Method(
        name="Time above the temperature limit",
        gives="start, end, minutes and the hottest reading of each excursion, and"
        " whether it is minor",
        formula=(
            "the limit is crossed on the straight line between the two readings on its"
            " two sides, t = t₁ + (t₂ − t₁)·(L − ϑ₁)/(ϑ₂ − ϑ₁); at least from the first"
            " to the last reading above, at most from the last before to the first"
            " after. Minor: at most under 5 min and under 10 °C above; major: at least"
            " 5 min, or 10 °C or more above; between them it may be minor"
        ),
        source="linear interpolation; the class is common practice, no source",
        valid=(
            "as an estimate from readings: what happened between two of them is not"
            " seen, and the pot may have been hotter than any reading. What may be"
            " minor, and one that was not read at or below the limit since, is treated"
            " as major"
        ),
        refuses="nothing; without a reading above the limit there is no excursion",
        function="batches.excursions.excursions",
    ),
]
