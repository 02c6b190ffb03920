"""Whether anybody would hear an alarm: when a person last confirmed that a test message had arrived."""

from __future__ import annotations

from logger.store import links
from web.service import Service

#: Before a pour, a test message should have been confirmed within this, days (the project's choice).
CONFIRMED_DAYS = 7


def untested(service: Service) -> str | None:
    """Why it is not known that an alarm would reach somebody; None when it is."""
    messages = service.settings.messages
    if not messages.urls and not messages.second_urls:
        return "No address for messages is set: nobody is called when it gets too hot."
    with service.store.read() as connection:
        confirmed_ms = links.last_confirmed_ms(connection)
    if confirmed_ms is None:
        return "Nobody has ever confirmed a test message: it is not known whether an alarm reaches anybody."
    days = (service.timeline.now_ms() - confirmed_ms) / 86_400_000
    if days <= CONFIRMED_DAYS:
        return None
    return (
        f"The last test message was confirmed {days:.0f} days ago: it is not known whether an alarm still reaches "
        "anybody."
    )
