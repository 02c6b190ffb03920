"""`pourlog demo`: a simulated pour of an invented workshop, through the real station and service."""
