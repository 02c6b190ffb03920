"""The workshop of the web's tests, for tests of its words."""

from __future__ import annotations

from tests.web.conftest import maker, messages, service, shop, stranger

__all__ = ["maker", "messages", "service", "shop", "stranger"]
