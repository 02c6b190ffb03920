"""How many layers and when. Depths by closed form; the window's hours are plain inputs here."""
