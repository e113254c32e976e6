"""Uncertainty, conformity, charts and instruments. Pure: no Django.

Decimal where a value is held against a limit, for limits and readings are decimal and
a value exactly on a limit must be judged as lying on it. Floats where uncertainty is
propagated, drawn or fitted: each module says which.
"""
