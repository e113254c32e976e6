"""How a recall is counted: who is to be reached, where every bottle and mass is."""

from __future__ import annotations

from typing import Final

from quality.methods.entries import Method

ENTRIES: Final[list[Method]] = [
    Method(
        name="Holders to make sure of in a recall",
        gives="number of holders of whom it must be known that they were reached",
        formula="share of the level × holders, rounded up",
        source="21 CFR 7.42(b)(3) as a pattern: A 100 %, C 10 %, D 2 %, E none, second"
        " hand; that B lies above 10 % and below 100 % from memory",
        valid="with fewer than 100 holders always A",
        refuses="an unknown level, a share that is not that of its level",
        function="quality.services.recall_levels.to_reach",
    ),
    Method(
        name="Effectiveness of a recall",
        gives="holders reached of those listed; bottles back of those that were out;"
        " bottles traced and accounted for of those filled; whole %, rounded down",
        formula="listed = holders with an affected bottle since the opening; traced ="
        " on record − out with somebody whose contact data were erased; accounted for"
        " = on record − out of which no holder spoke",
        source="counts; common practice, no source",
        valid="reached once is reached. What came back after a holder spoke of bottles"
        " was among those spoken of",
        refuses="nothing; of nothing there is no share",
        function="quality.services.recall_status.effect_of",
    ),
    Method(
        name="Masses of a recall",
        gives="what is missing of each affected lot and batch, to the milligram",
        formula="missing = received or weighed as made + adjusted − into batches − in"
        " bottles − lost in filling − samples − unexplained after filling − used here"
        " − disposed of − in stock",
        source="mass balance; whole milligrams",
        valid="by the records of weighings and fillings, held against the stock",
        refuses="nothing; what does not close is said",
        function="quality.services.recall_balance.balance_of",
    ),
]
