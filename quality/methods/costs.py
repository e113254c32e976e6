"""Entries: what a batch and a bottle cost."""

from __future__ import annotations

from quality.methods.entries import Method

ENTRIES: list[Method] = [
    Method(
        name="Cost of a batch",
        gives="hundredths of the currency, as an exact fraction",
        formula=(
            "Σ paid·drawn/received of its lots + Σ cost·drawn/came out of the batches"
            " in it + what was spent on it"
        ),
        source=(
            "definition; a share goes with the mass. That a paste carries its cost into"
            " a dilution, and a rejected batch into its rework: common practice, no"
            " source"
        ),
        valid=(
            "any depth. A lot without a price counts as nothing, is named, and makes"
            " the result the least it can be. What a lot lost on the shelf is left out"
        ),
        refuses="a share of a batch out of which nothing came",
        function="batches.costing.cost_of_all",
    ),
    Method(
        name="Cost of a bottle",
        gives="hundredths of the currency for a good bottle",
        formula=(
            "(cost·(filled + lost in filling)/came out + bottles and labels)/good"
            " bottles"
        ),
        source="definition; rejects and losses are carried by what is good",
        valid=(
            "after the yield was weighed; good are all but destroyed ones. Several"
            " filling lots of a batch share bottles and labels by their number"
        ),
        refuses="a filling lot of which no good bottle is left",
        function="batches.costing.per_bottle",
    ),
    Method(
        name="Amounts that add up",
        gives="whole hundredths for each part of a sum",
        formula=(
            "each rounded down; what is lacking to the rounded sum goes, a hundredth"
            " each, to the largest remainders"
        ),
        source="method of the largest remainder",
        valid="any amounts; each part is less than a hundredth off",
        refuses="shares of nothing",
        function="batches.costing.that_add_up",
    ),
]
