"""Stoichiometry of potassium soft soap. Pure: no Django.

Masses and shares are :class:`~decimal.Decimal`: scales, certificates and people count
in decimal steps, sums of masses must close to the milligram, and a value exactly on a
limit must be seen to lie on it. Binary floats promise none of these.
"""
