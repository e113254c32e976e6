"""How ± comes about, and how a value with ± is judged."""

from __future__ import annotations

from quality.methods.entries import Method

GUM = "JCGM 100:2008 (GUM)"

ENTRIES: list[Method] = [
    Method(
        name="Uncertainty of repeated readings (type A)",
        gives="mean and its standard uncertainty u, in the unit of the readings",
        formula="u = s/√n, s the standard deviation of n readings; ν = n − 1",
        source=f"{GUM}, 4.2",
        valid="two or more independent readings",
        refuses="fewer than two readings; what is no number",
        function="quality.statistics.quantities.readings",
    ),
    Method(
        name="Value known only to lie between bounds",
        gives="standard uncertainty u, in the unit of the half width",
        formula="u = a/√3, a the half width",
        source=f"{GUM}, 4.3.7",
        valid="no place between the bounds likelier than another",
        refuses="a half width below zero; what is no number",
        function="quality.statistics.quantities.rectangular",
    ),
    Method(
        name="Value between bounds, likelier in the middle",
        gives="standard uncertainty u, in the unit of the half width",
        formula="u = a/√6, a the half width",
        source=f"{GUM}, 4.3.9",
        valid="values near the middle likelier than near the bounds",
        refuses="a half width below zero; what is no number",
        function="quality.statistics.quantities.triangular",
    ),
    Method(
        name="Value that swings to and fro",
        gives="standard uncertainty u, in the unit of the half width",
        formula="u = a/√2, a the half width of the swing",
        source=f"{GUM}, H.1.3.4",
        valid="a steady swing read at a moment not chosen; not on a screen",
        refuses="a half width below zero; what is no number",
        function="quality.statistics.quantities.arcsine",
    ),
    Method(
        name="Display that moves in steps",
        gives="standard uncertainty u, in the unit of the step",
        formula="u = step/√12",
        source=f"{GUM}, F.2.2.1",
        valid="one reading of a steady display",
        refuses="a step below zero; what is no number",
        function="quality.statistics.quantities.resolution",
    ),
    Method(
        name="Parts that are independent, in decimals",
        gives="combined standard uncertainty u, in the unit of the parts",
        formula="u = √(u₁² + u₂² + …)",
        source=f"{GUM}, 5.1.2",
        valid="parts in one unit that are not wrong the same way each time",
        refuses="a part below zero",
        function="quality.statistics.uncertainty.combine",
    ),
    Method(
        name="Uncertainty budget",
        gives="result, u, U, degrees of freedom and the share of each input",
        formula=(
            "u² = Σ (cᵢuᵢ)² + 2 Σ r(i,j)·cᵢuᵢ·cⱼuⱼ, c the slope of the formula;"
            " ν = u⁴/Σ((cᵢuᵢ)⁴/νᵢ), correlated inputs taken as one with the fewest"
            " degrees among them; of what two correlated inputs make together each"
            " is given half"
        ),
        source=f"{GUM}, 5.1.2, 5.2.2 (equation 13), G.4.1; slopes by uncertainties 3",
        valid=(
            "a formula nearly straight over ± U; a Monte Carlo simulation shows where"
            " it is not, for example a square around nought"
        ),
        refuses=(
            "no input; an uncertainty below zero; a correlation that names no input,"
            " lies beyond ± 1 or contradicts the others; a formula without value or"
            " slope at the values"
        ),
        function="quality.statistics.budgets.budget",
    ),
    Method(
        name="Coverage factor",
        gives="k, by which u is multiplied for about 95 % (95.45 %)",
        formula=(
            "k = 2 from 50 effective degrees of freedom on; below, Student's t for"
            " 95.45 % at ν, not truncated to a whole number"
        ),
        source=f"{GUM}, G.3.4 and table G.2; 50 is common practice, no source",
        valid="a result that is nearly normal",
        refuses="degrees of freedom of nought or fewer",
        function="quality.statistics.budgets.coverage_factor",
    ),
    Method(
        name="Share of a distribution",
        gives="chance, 0 to 1, of lying below so many u",
        formula="normal, or Student's t below 50 degrees of freedom",
        source="scipy.special, ndtr and stdtr",
        valid="any number of u",
        refuses="nothing; what is no number is refused before it comes here",
        function="quality.statistics.budgets.distribution_function",
    ),
    Method(
        name="Correlations of inputs",
        gives="pairs of inputs with their coefficient",
        formula="the matrix of all coefficients has no eigenvalue below zero",
        source=f"{GUM}, 5.2.2",
        valid="coefficients from −1 to 1",
        refuses=(
            "an unknown or ambiguous name; a pair given twice; a coefficient beyond"
            " ± 1; coefficients that contradict each other"
        ),
        function="quality.statistics.correlations.checked_pairs",
    ),
    Method(
        name="Monte Carlo simulation",
        gives="mean, standard deviation and the interval that holds 95 % of the draws",
        formula=(
            "inputs drawn from their distributions (Student's t where readings are few)"
            " and put through the formula; 2.5 % of the results lie beyond each end;"
            " memory is 8 bytes a draw"
        ),
        source="JCGM 101:2008, 6.4, 7.6 and 7.7 (symmetric interval)",
        valid="1000 to 10 000 000 draws; correlated inputs must be normal",
        refuses=(
            "numbers of draws outside this; correlated inputs that are bounded or known"
            " by few readings; draws without a result"
        ),
        function="quality.statistics.simulation.simulate",
    ),
    Method(
        name="Budget against simulation",
        gives="largest difference between the ends of the two intervals, in their unit",
        formula="d = max(|y − U − low|, |y + U − high|), both at 95.45 %",
        source=(
            "JCGM 101:2008, 8.1; that a tenth of U is close enough is common practice,"
            " no source"
        ),
        valid="a budget and a simulation of the same formula and inputs",
        refuses="nothing",
        function="quality.statistics.simulation.compare",
    ),
    Method(
        name="Rounding of a result with its uncertainty",
        gives="x ± U, both to the same decimal place",
        formula="U to two digits, rounded up; x to that place, a half to the even side",
        source=(
            f"{GUM}, 7.2.6; its example of rounding 28.05 down to 28 is not followed,"
            " for a ± too small could contradict the judgement made with it"
        ),
        valid="any number",
        refuses="an uncertainty below zero; what is no number",
        function="quality.statistics.rounding.rounded",
    ),
    Method(
        name="The lesser of two results",
        gives="mean and u of min(X, Y), and a budget with both",
        formula=(
            "θ² = u(x)² + u(y)² − 2·cov; α = (y − x)/θ;"
            " mean = x·Φ(α) + y·Φ(−α) − θ·φ(α);"
            " used where |y − x| < 3·θ"
        ),
        source=(
            "C. E. Clark, Operations Research 9 (1961) 145–162 (from memory); held"
            " against integration by scipy"
        ),
        valid="two results that are jointly normal, of the same independent inputs",
        refuses="an uncertainty below zero; a covariance above both",
        function="quality.statistics.corner.lesser_of",
    ),
    Method(
        name="Outcome against a limit",
        gives="pass, conditional pass, conditional fail or fail",
        formula=(
            "inside by the guard band w or more, inside by less, outside by no more"
            " than w, outside by more; w = U, k = 2"
        ),
        source=(
            "ILAC-G8:09/2019, 4.2.3; of the other rules w = 0.83·U is table 1 at second"
            " hand, after ISO 14253-1:2017, and w = 0 is 4.2.1 from memory"
        ),
        valid="one or two limits; a window wider than 2U for the method to be fit",
        refuses="no limit; limits upside down; a guard band below zero",
        function="quality.statistics.conformity.judge",
    ),
    Method(
        name="Probability of conformance",
        gives="chance, 0 to 1, that the true value lies inside the limits",
        formula="F((upper − x)/u) − F((lower − x)/u), F normal or Student's t",
        source="JCGM 106:2012, 7.3 and 7.4 (clauses from memory)",
        valid="nothing known of the value but what was measured",
        refuses="no limit; limits upside down; an uncertainty below zero",
        function="quality.statistics.risks.probability_of_conformance",
    ),
    Method(
        name="Risk of a wrong decision",
        gives="chance, 0 to 1, that taking the value at its word is wrong",
        formula=(
            "inside the limits 1 − p (consumer's risk), outside p (producer's risk),"
            " p the probability of conformance"
        ),
        source="JCGM 106:2012, 3.3.13 and 3.3.14 (clauses from memory)",
        valid="as for the probability of conformance",
        refuses="as for the probability of conformance",
        function="quality.statistics.risks.risk_of_wrong_decision",
    ),
    Method(
        name="Worst false accept behind a guard band",
        gives="largest risk, 0 to 1, of a value that was accepted",
        formula=(
            "one limit F(−w/u), w the guard band; two limits, W apart,"
            " F(−w/u) + F((w − W)/u)"
        ),
        source=(
            "JCGM 106:2012, 8.3 and 7.4 (clauses from memory); table in"
            " ILAC-G8:09/2019 (second hand) for one limit"
        ),
        valid="one limit or two",
        refuses=(
            "a guard band below zero; an uncertainty of nought or less; limits closer"
            " than two guard bands, between which nothing is accepted"
        ),
        function="quality.statistics.risks.worst_false_accept",
    ),
    Method(
        name="Guard band for a chosen risk",
        gives="guard band w, in the unit of u, rounded up in the sixth digit",
        formula="w = z·u, with only the chosen risk beyond z",
        source="JCGM 106:2012, 8.3 (clause from memory)",
        valid="one limit; risks above 0 and at most 50 %; not on a screen",
        refuses="other risks; an uncertainty below zero",
        function="quality.statistics.risks.guard_band_for",
    ),
]
