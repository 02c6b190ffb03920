"""Checks of probes: in ice water, by a dip, warmed in the hand. Pure: readings in, verdicts out."""
