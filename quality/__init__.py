"""How we judge it: limits, judgements, signatures, recalls."""
