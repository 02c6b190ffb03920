"""Pages, one module a page; each answers one question."""
