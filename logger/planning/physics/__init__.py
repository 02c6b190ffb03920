"""What planning works out: arithmetic, mechanics, moisture, light and time. Pure; sources beside each constant."""
