"""Who asks and whether they may: sessions, tokens, shops, passwords, throttle, requests sent twice."""
