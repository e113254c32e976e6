"""Entries."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

HANDBOOK: Final = "NIST/SEMATECH e-Handbook of Statistical Methods"

ENTRIES: list[Method] = [
    Method(
        name="Individuals and moving-range chart",
        gives="centre and limits of a series of single results, in its own unit; which"
        " steps from one to the next are too wide",
        formula="x̄ ± 3·MR̄/1.128 (x̄ ± 2.66·MR̄); moving range from 0 to 3.267·MR̄",
        source=f"{HANDBOOK}, 6.3.2.2; d2 and D4 for two values as tabulated",
        valid="single results in the order of time; provisional from 8, firm from 20"
        " (common practice, no source). The points that set the limits stay the same"
        " until somebody chooses others.",
        refuses="fewer than two values, what is not a finite number, values that are"
        " all the same",
        function="quality.statistics.control.individuals_chart",
    ),
    Method(
        name="EWMA chart",
        gives="weighted means that show a slow drift, with limits, in the unit of the"
        " series",
        formula="z_t = λ·x_t + (1 − λ)·z_(t−1), z_0 = centre; limits centre ± L·σ·√(λ/"
        "(2 − λ)), on request times √(1 − (1 − λ)^(2t)); λ = 0.3, L = 3, σ = MR̄/1.128",
        source=f"{HANDBOOK}, 6.3.2.4; the page draws its asymptotic limits",
        valid="0 < λ ≤ 1",
        refuses="a weight outside, a spread or width that is not above zero, no values",
        function="quality.statistics.control.ewma_chart",
    ),
    Method(
        name="Run rules",
        gives="patterns that chance alone seldom draws, with the points that make them",
        formula="Western Electric: 1 point beyond 3σ; 2 of 3 beyond 2σ; 4 of 5 beyond"
        " 1σ; 8 in a row on one side. Nelson: the first three, 9 on one side, 6 rising"
        " or falling, 14 alternating, 15 within 1σ, 8 outside 1σ on both sides",
        source=f"Western Electric, Statistical Quality Control Handbook, 1956, as in"
        f" {HANDBOOK}, 6.3.2; L. S. Nelson, J. Qual. Technol. 16 (1984) 238–239",
        valid="one set at a time: both together only raise false alarms. A point on a"
        " line is not beyond it",
        refuses="a spread that is not above zero",
        function="quality.statistics.run_rules.signals",
    ),
    Method(
        name="Capability of a series",
        gives="Ppk, and Pp with two limits; without unit, each with a lower 95 % bound",
        formula="Ppk = min(upper − x̄, x̄ − lower)/3s; Pp = (upper − lower)/6s",
        source=f"{HANDBOOK}, 6.1.6",
        valid="20 results or more (common practice, no source), of a process in"
        " control, roughly normal; one limit or two",
        refuses="a series without limit, limits upside down. “Not assessable” below 20"
        " results and where all are the same",
        function="quality.statistics.capability.capability",
    ),
    Method(
        name="Lower bound of Ppk",
        gives="what Ppk is at least, with one-sided confidence",
        formula="Ppk − z·√(1/(9n) + Ppk²/(2(n − 1)))",
        source=f"{HANDBOOK}, 6.1.6, approximate; checked against the non-central t"
        " distribution",
        valid="n ≥ 20 and an index of 0.2 to 2 within 0.01, for one limit",
        refuses="fewer than two values, a confidence outside 0 to 1",
        function="quality.statistics.capability.ppk_lower_bound",
    ),
    Method(
        name="Lower bound of Pp",
        gives="what Pp is at least, with one-sided confidence",
        formula="Pp·√(χ²(1 − confidence; n − 1)/(n − 1))",
        source=f"{HANDBOOK}, 6.1.6",
        valid="normal values",
        refuses="fewer than two values, a confidence outside 0 to 1",
        function="quality.statistics.capability.pp_lower_bound",
    ),
    Method(
        name="Check of a scale or thermometer",
        gives="error against something known, its uncertainty, one of four outcomes; in"
        " the unit of the instrument",
        formula="error = shown − reference; u² = step²/12 + (± of the reference)²/3;"
        " inside ± tolerance by U = 2u or more is a pass",
        source="JCGM 100:2008, 4.3.7 and F.2.2.1; ILAC-G8:09/2019, 4.2.3",
        valid="near the value that it was held against",
        refuses="a tolerance or step that is not above zero, a ± below zero",
        function="quality.statistics.instruments.check_error",
    ),
    Method(
        name="Smallest net mass of a scale",
        gives="grams from which on U is no more than 1 % of a net mass",
        formula="100·2·√(2·(step²/12 + ±²/3 + s²)), rounded up to a step",
        source="JCGM 100:2008, 4.3.7, F.2.2.1; the 1 % is our requirement C29",
        valid="gross and tare on the same scale, taken as independent: wider than need"
        " be where its error is the same at both",
        refuses="a share outside 0 to 1, a ± or a standard deviation below zero",
        function="quality.statistics.instruments.smallest_net_mass",
    ),
    Method(
        name="pH of a buffer by temperature",
        gives="pH, of the technical or of the standard set",
        formula="the printed table; a straight line between two temperatures of it",
        source="standard: JIS Z 8802 (2011), as printed by HORIBA; technical: Foxboro"
        " MI 611-211 (2005), table 7",
        valid="0 to 50 °C, carbonate of the standard set 0 to 38 °C",
        refuses="a temperature outside the table, a buffer of the other set",
        function="quality.statistics.buffers.buffer_ph",
    ),
    Method(
        name="Nernst slope",
        gives="mV per pH of an ideal electrode",
        formula="R·T·ln 10/F",
        source="CODATA 2018 values of R and F",
        valid="0 to 100 °C",
        refuses="a temperature outside",
        function="quality.statistics.instruments.nernst_slope",
    ),
    Method(
        name="Check of a pH meter",
        gives="errors in two buffers, slope in % of the Nernst slope, offset at pH 7,"
        " and whether the buffers lie around 8 to 10",
        formula="slope = 100·(mV₁ − mV₂)/((pH₂ − pH₁)·Nernst slope); without mV, of the"
        " pH shown against the pH of the buffers",
        source="C34 of our requirements: within 0.1 pH; slope 95 to 105 %, offset up"
        " to 30 mV or 0.5 pH: common practice, no source",
        valid="both buffers of one set at one temperature",
        refuses="buffers less than 1 pH apart, a tolerance that is not above zero",
        function="quality.statistics.instruments.check_meter",
    ),
    Method(
        name="What a pH strip can decide",
        gives="U of one reading, and the part of the window that is a pass without"
        " condition",
        formula="u² = step²/12 + ±²/3; the window must be wider than 2U",
        source="JCGM 100:2008, F.2.2.1; ILAC-G8:09/2019, 4.2.3",
        valid="a window with two ends, 8 to 10 by default",
        refuses="a window upside down, a step that is not above zero",
        function="quality.statistics.instruments.strip_fit",
    ),
]
