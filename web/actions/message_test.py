"""Whether anybody would hear an alarm: when a person last confirmed that a test message had arrived."""

from __future__ import annotations

from logger.delivery.channels import shown
from logger.delivery.wording import title_in_words
from logger.store import message_links, outbox
from logger.store.database import SEES
from logger.words.phrase import phrase, phrases
from logger.words.reader import METRIC, Reader
from web.answers import ChannelsAnswer, MessageAnswer, MessagesAnswer
from web.service.service import Service

#: Before a pour, a test message should have been confirmed within this, days (the project's choice).
CONFIRMED_DAYS = 7
NO_PHONE = phrase("No phone is set up: nobody is called when it gets too hot.")
NEVER = phrase("Nobody has ever confirmed a test message: it is not known whether an alarm reaches anybody.")


def nobody_reached(service: Service) -> str | None:
    """Why no alarm reaches anybody as far as is known, whatever is poured; None once somebody has a confirmed way."""
    if not service.addresses.groups(SEES.get()):
        return NO_PHONE
    with service.store.read() as connection:
        confirmed_ms = message_links.last_confirmed_ms(connection)
    return NEVER if confirmed_ms is None else None


def untested(service: Service) -> str | None:
    """Why it is not known that an alarm would reach somebody; None when it is."""
    if (nobody := nobody_reached(service)) is not None:
        return nobody
    with service.store.read() as connection:
        confirmed_ms = message_links.last_confirmed_ms(connection) or 0
    days = (service.timeline.now_ms() - confirmed_ms) / 86_400_000
    if days <= CONFIRMED_DAYS:
        return None
    return phrases(
        "The last test message was confirmed {n} day ago: it is not known whether an alarm still reaches "
        "anybody.",
        "The last test message was confirmed {n} days ago: it is not known whether an alarm still reaches "
        "anybody.",
        round(days),
    )


def _called(service: Service, turn: str) -> list[str]:
    """Return whom a group calls: the settings file's addresses without their secrets, and people by their names."""
    messages = service.settings.messages
    of_file = messages.urls if turn == "first" else messages.second_urls
    mine = SEES.get()
    own = [row for row in service.addresses.called() if row.turn == turn and mine in (None, row.shop_id)]
    return [*(shown(url) for url in of_file), *(f"{row.name} ({shown(row.url)})" for row in own)]


def messages_of(service: Service, reader: Reader = METRIC) -> MessagesAnswer:
    """Return what is known of the messages, for whoever reads it; times of day are true, ages in hours."""
    now_ms, shift_ms = service.timeline.now_ms(), service.timeline.shift_ms

    def true_ms(at_ms: int | None) -> int | None:
        return None if at_ms is None else at_ms + shift_ms

    with service.store.read() as connection:
        confirmed_ms = message_links.last_confirmed_ms(connection)
        tried_ms = outbox.last_trial_ms(connection)
        waiting_ms = outbox.oldest_waiting_ms(connection)
        newest = [
            MessageAnswer(
                at_ms=row.created_ms + shift_ms,
                to=row.to,
                why=row.why,
                title=title_in_words(row.title, reader),
                state=row.state,
                attempts=row.attempts,
                problem=row.problem,
                takers=row.takers,
            )
            for row in outbox.newest_messages(connection)
        ]
    settings = service.settings.messages
    return MessagesAnswer(
        channels=ChannelsAnswer(
            first=_called(service, "first"),
            second=_called(service, "second"),
        ),
        heartbeat=settings.heartbeat_url is not None,
        untested=untested(service),
        confirmed_ms=true_ms(confirmed_ms),
        confirmed_h_ago=None if confirmed_ms is None else round((now_ms - confirmed_ms) / 3.6e6, 2),
        test_sent_ms=true_ms(tried_ms),
        undelivered_since_ms=true_ms(waiting_ms),
        messages=newest,
    )
