"""Excess alkali, its uncertainty, its risks, and the lye discount."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

ENTRIES: Final[list[Method]] = [
    Method(
        name="Alkali charge",
        gives="potash to weigh in grams, as it is in the tin",
        formula=(
            "k = Σ m·SV/1000·(1 − d) grams of KOH, k/P of potash; d is the lye"
            " discount, 0 unless set. Computed again from the oils really weighed"
        ),
        source="definition of the saponification value, ISO 3657; conservation",
        valid="saponification values from 160 to 280 mg/g, a usable share up to 1",
        refuses=(
            "values outside, which are often on the sodium hydroxide basis; masses"
            " below zero; a discount outside 0 to 1"
        ),
        function="batches.chemistry.saponification.potash_to_weigh",
    ),
    Method(
        name="Excess alkali of a pot",
        gives="E in grams of KOH, left over above zero, lacking below",
        formula="E = Σ m·P (potash) − Σ m·SV/1000 (oils) − Σ m·A (acids)",
        source="conservation of the KOH; saponification value as in ISO 3657",
        valid="a cook whose every lot has a figure; not a rework",
        refuses="a rework, whose rejected batch brings an unknown amount along",
        function="batches.chemistry.excess.excess",
    ),
    Method(
        name="Uncertainty of the excess alkali",
        gives="u and U = k·u in grams of KOH, with the share of each input",
        formula=(
            "linear propagation of E. One certificate, titration or published range is"
            " one input for all its masses; the ± of a scale one input for all its net"
            " masses, taken whole for each with the same sign, since an offset cancels"
            " in gross less tare; two readings of the display for each net mass,"
            " triangular, u = step/√6"
        ),
        source="JCGM 100:2008, 5.1.2, 5.2, 4.3.9; Monte Carlo by JCGM 101:2008",
        valid="as the excess; the draws on demand say how far it agrees",
        refuses="what the excess refuses",
        function="quality.services.alkali.alkali_of",
    ),
    Method(
        name="Risks of too much alkali and too much oil",
        gives="two probabilities, 0 to 1",
        formula=(
            "P(over) = 1 − Φ((L·M − E)/u), P(under) = Φ((−U·M·SV/1000 − E)/u); L and U"
            " the limits as shares of the paste M, set on the page “Premises”"
        ),
        source="conformance probability, JCGM 106:2012, 7; the limits are yours",
        valid=(
            "E nearly normal; M is what came out, or all that goes in before that."
            " With one wide range alone the draws say more"
        ),
        refuses="limits outside 0 to 100 %, a paste of no mass, u below zero",
        function="batches.chemistry.excess.risks_of",
    ),
    Method(
        name="Lye discount for a risk",
        gives="the least share of the alkali need to leave out",
        formula=(
            "solves L·M(x) − E(x) = z·u(x) for x = 1 − d, with z = Φ⁻¹(1 − risk) and"
            " u² = a² + b²·x², b from the usable share of the potash"
        ),
        source="inverse of the risk; a quadratic in x",
        valid="before any potash is weighed; risks up to 50 %; discounts to 10 %",
        refuses="a risk that no discount up to 10 % reaches; it raises that of oil",
        function="batches.chemistry.excess.Charge",
    ),
    Method(
        name="Excess alkali by titration",
        gives="E in grams of KOH, and the risk of too much",
        formula="E = w·M, w the titrated share of free KOH",
        source="conservation of mass; w from the titration of the free alkali",
        valid="the last titration after the last charge; it cannot see oil",
        refuses="a titration from before the last charge",
        function="quality.services.alkali.titrated.titrated",
    ),
]
