"""From the outbox to phones: the only place that sends."""
