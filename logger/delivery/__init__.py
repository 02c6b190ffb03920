"""From the outbox to phones: the only room that sends messages."""
