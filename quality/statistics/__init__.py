"""Uncertainty and conformity. Pure: no Django.

Decimal, because limits and readings are decimal and a value exactly on a limit must
be judged as lying on it.
"""
