"""Probes looked after: checked in ice water, dipped, warmed in the hand. Pure: readings in, verdicts out."""
