"""The station daemon: reads, spools to its own disk, forwards. Lean: standard library, httpx, hardware."""
