"""A pour's condition: the one judgement that every screen, message, label and program shows. Pure."""
