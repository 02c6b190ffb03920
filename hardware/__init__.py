"""Wires and kernel files; knows nothing of pours. Start with reading.py, scratchpad.py and ds18b20.py."""
